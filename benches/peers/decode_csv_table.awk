# The work of `misread decode --csv --layout open-26`, for mawk, made quick.
#
# A line of 26 characters 0 and 1 a read; any other line is counted as bad.
# Bytes are looked up rather than walked, four times as fast as decode_csv.awk.
#
#   mawk -f decode_csv_table.awk < reads.txt > table.csv

BEGIN {
    for (i = 0; i < 256; i++) {
        text = ""
        ones = 0
        rest = i
        for (j = 0; j < 8; j++) {
            text = (rest % 2) text
            ones += rest % 2
            rest = int(rest / 2)
        }
        value[text] = i
        odd[text] = ones % 2
        if (i < 16) {
            value[substr(text, 5)] = i
            odd[substr(text, 5)] = ones % 2
        }
    }
    print "line,bits,length,layout,ok,facility,card"
}

{
    facility = substr($0, 2, 8)
    high = substr($0, 10, 8)
    low = substr($0, 18, 8)
    first = substr($0, 1, 1)
    last = substr($0, 26)
    if (!(facility in value && high in value && low in value) || first !~ /^[01]$/ || last !~ /^[01]$/) {
        bad++
        next
    }
    even = first + odd[facility] + odd[substr(high, 1, 4)]
    uneven = last + odd[substr(high, 5)] + odd[low]
    if (even % 2 == 0 && uneven % 2 == 1)
        print NR "," $0 ",26,open-26,true," value[facility] "," (value[high] * 256 + value[low])
    else
        print NR "," $0 ",26,open-26,false,,"
}

END { if (bad) print bad " lines are no reads" > "/dev/stderr" }
