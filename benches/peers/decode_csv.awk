# The work of `misread decode --csv --layout open-26`, for mawk, as one writes
# it: the bits are walked one by one.
#
# A line of 26 characters 0 and 1 a read; any other line is counted as bad.
#
#   mawk -f decode_csv.awk < reads.txt > table.csv

BEGIN { print "line,bits,length,layout,ok,facility,card" }

{
    if (length($0) != 26 || $0 !~ /^[01]+$/) {
        bad++
        next
    }
    facility = card = even = odd = 0
    for (i = 1; i <= 13; i++) even += substr($0, i, 1)
    for (; i <= 26; i++) odd += substr($0, i, 1)
    for (i = 2; i <= 9; i++) facility = facility * 2 + substr($0, i, 1)
    for (; i <= 25; i++) card = card * 2 + substr($0, i, 1)
    if (even % 2 == 0 && odd % 2 == 1)
        print NR "," $0 ",26,open-26,true," facility "," card
    else
        print NR "," $0 ",26,open-26,false,,"
}

END { if (bad) print bad " lines are no reads" > "/dev/stderr" }
