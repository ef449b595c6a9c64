//! Check values of the fault model, computed independently of this project,
//! exact to the digits shown: every row of its two tables.

#![allow(clippy::unwrap_used, reason = "a check value that cannot be set up is a failed check")]

use std::ops::ControlFlow;
use std::sync::Arc;

use misread::cause::{CardState, Model, ProbeAt, Whose, Wire};
use misread::diagnose::{Candidates, Case, Expected, Posterior, posterior};
use misread::layout::{FieldSpec, Kind, Layout, ParitySpec, Span, Spec, built_in};
use misread::pulse::Evidence;

/// A row a line: the reads (in brackets where nothing came); what is expected
/// of every read, and after a semicolon the candidates, the first of which is
/// the configured one; the four likeliest wire states; the likeliest of the
/// card states, of the layouts, of whose cards they are. `open-26` is the only
/// candidate where none is named. What is under 5e-7 is not shown.
const ROWS: &str = "
10010101000000100110100100 | none | none 0.939711; bytes-reversed 0.025126; d1-weak 0.011359; d0-weak 0.006075 |
10010101000000100110100100 | facility 42, card 1234 | none 0.966109; d1-weak 0.011678; d0-weak 0.006246; both-weak 0.005031 | as-expected 0.999856; facility-differs 0.000103
01101010111111011001011011 | none | lines-swapped 0.769202; bits-inverted 0.135742; bit-order-reversed 0.090494; lines-swapped+bytes-reversed 0.001923 |
01101010111111011001011011 | facility 42, card 1234 | lines-swapped 0.847637; bits-inverted 0.149583; lines-swapped+d0-weak 0.000958; lines-swapped+d1-weak 0.000512 | as-expected 0.999856; facility-differs 0.000103
01101010111111011001011011 | facility 42, card 1235 | lines-swapped 0.847363; bits-inverted 0.149535; lines-swapped+d0-weak 0.000958; lines-swapped+d1-weak 0.000512 | card-differs 0.999667; as-expected 0.000316
01101010111111011001011011 01101010111111011001011000 | facility 42 | lines-swapped 0.841634; bits-inverted 0.148524; lines-swapped-at-times 0.006621; lines-swapped+bytes-reversed 0.002104 | as-expected 0.984455; card-differs 0.015544 · own-cards 0.999999; one-card 0.000001
?110101011111101100101101? | none | none 0.603170; lines-swapped 0.274168; bits-inverted 0.048383; bit-order-reversed 0.032255 |
111111111 | none | d0-open 0.957680; lines-swapped+d0-open 0.040701; both-weak 0.000762; unknown-layout 0.000484 |
111111111 | facility 42, card 1234 | d0-open 0.999558; d0-weak 0.000333; unknown-layout 0.000049; lines-swapped+d0-open 0.000046 | as-expected 0.980431; facility-differs 0.012699
00000000000000000 | none | d1-open 0.953131; lines-swapped+d1-open 0.040508; d1-weak 0.005763; unknown-layout 0.000349 |
1001010100000100110100100 | none | d0-weak 0.333998; head-lost 0.282136; both-weak 0.225789; tail-lost 0.141068 |
1001010100000100110100100 | facility 42, card 1234 | d0-weak 0.596518; both-weak 0.403258; head-lost 0.000224 | as-expected 0.999494; facility-differs 0.000464
1001010100000100110100100 1001010100000100110100100 | none | head-lost 0.356787; d0-weak 0.199426; tail-lost 0.178394; unknown-layout 0.167705 | one-card 0.999911; own-cards 0.000089
100010100000100110100100 | facility 42, card 1234 | both-weak 0.984993; head-lost 0.015006; unknown-layout 0.000001 | as-expected 0.982982; facility-differs 0.016976
010101000000100110100100 | facility 42 | head-lost 0.994689; both-weak 0.004616; unknown-layout 0.000539; tail-lost 0.000141 | as-expected 0.983345; card-differs 0.015526
10010101000000100110 100100 | none | frame-split 0.999921; both-weak 0.000061; random-bits 0.000014; lines-swapped+both-weak 0.000003 | one-card 0.500005; own-cards 0.499995
1001010100000010011010010010010101000000100110100100 | none | frames-merged 1.000000 |
0101010101010101010101010101010101010101010101010101 | none | lines-shorted 1.000000 |
11111111111111111111111111 | facility 42, card 1234 | lines-shorted 0.999320; unknown-layout 0.000680 | as-expected 0.949354; facility-differs 0.024983
1001011010000100100110100100 | facility 42, card 1234 | d1-noise 0.713983; both-noise 0.178496; crosstalk 0.107520 | as-expected 0.999696; facility-differs 0.000262
10010100000000100110100100 | facility 42, card 1234 | bits-changed 1.000000 | as-expected 0.999033; facility-differs 0.000925
10010101000011100110100100 | facility 42, card 1234 | bits-changed 0.997740; lines-swapped 0.001729; bits-inverted 0.000305; bit-order-reversed 0.000203 | as-expected 0.997591; different-card 0.002248
00100110100000100110100100 | facility 42, card 1234 | none 0.966103; d1-weak 0.011678; d0-weak 0.006246; both-weak 0.005031 | facility-differs 0.999994; different-card 0.000006
00010101011010010000001001 | facility 42, card 1234 | bytes-reversed 0.999997; none 0.000003 | as-expected 0.999853; facility-differs 0.000103
00010010001101000101011001111000 | none; open-26, plain-32 | none 0.592674; lines-swapped 0.269397; bits-inverted 0.047541; bit-order-reversed 0.031694 | plain-32 0.977544; open-26 0.015735
1001110100010110101 1010110100010111001 | none | d1-weak 0.779092; both-weak 0.138462; lines-swapped+d1-weak 0.033111; tail-lost 0.026842 | one-card 0.955999; own-cards 0.044001
1000001000001001000011001000001000100 | none | unknown-layout 0.544679; d0-ringing 0.441372; d0-noise 0.013229; both-ringing 0.000525 |
1000001000001001000011001000001000100 1000001000001001000011001000001000111 1000001000001001000011001000011001010 | none | unknown-layout 1.000000 | own-cards 1.000000
1000001000001001000011001000001000100 | facility 42, card 1234; open-26, site-34 | unknown-layout 0.992216; d0-ringing 0.007259; d0-noise 0.000338; random-bits 0.000154 | different-card 0.007630 · open-26 0.007464; site-34 0.000166
10010101000000100110100100000000 | none | padded 0.993489; unknown-layout 0.005551; d0-noise 0.000522; lines-swapped+d0-noise 0.000135 |
10010101000000100110100100000000 | facility 42, card 1234 | padded 1.000000 | as-expected 0.999856; facility-differs 0.000103
10010101000000100110100100 10010101000000100110100100 10010101000000100110100100 | none | none 0.936515; bytes-reversed 0.025041; reads-missing 0.009173; lines-swapped-at-times 0.006238 | one-card 1.000000
10010101000000100110100100 01101010111111011001011011 | facility 42, card 1234 | lines-swapped-at-times 1.000000 | as-expected 0.999928; facility-differs 0.000052 · one-card 0.500036; own-cards 0.499964
10010101000000100110100100 10010101000000100110100100 01101010111111011001011011 | none | lines-swapped-at-times 1.000000 | one-card 1.000000
10010101000000100110100100 10010101000010100110100100 | facility 42, card 1234 | bits-changed-at-times 1.000000 | as-expected 0.999928; facility-differs 0.000052 · one-card 0.500036; own-cards 0.499964
10010101000000100110100100 111111111 10010101000000100110100100 111111111 | none | d0-open-at-times 0.999999; d0-weak-at-times 0.000001 | one-card 1.000000
10010101000000100110100100 10010101000000100110100100 (empty) | facility 42, card 1234 | none 0.906240; reads-missing 0.055885; lines-swapped-at-times 0.007634; d1-weak 0.005482 | as-expected 0.999928; facility-differs 0.000052 · one-card 0.500036; own-cards 0.499964
10010101000000100110100100 (empty) (empty) | facility 42, card 1234 | none 0.508598; reads-missing 0.454833; d1-weak 0.006148; lines-swapped-at-times 0.005857 | as-expected 0.999856; facility-differs 0.000103
0110110111111011001011011 | facility 42, card 1234 | lines-swapped+d0-weak 0.801183; lines-swapped+both-weak 0.198155; lines-swapped+head-lost 0.000661; unknown-layout 0.000001 | as-expected 0.998373; facility-differs 0.001585
1001010100000100110100100 10010101000000100110100100 100101010000001001101000 | none | both-weak 0.983058; both-weak-at-times 0.016942 | one-card 1.000000
10010101000000100110100100 0101010100000000110000001101101101 | none; open-26, site-34 | lines-swapped-at-times 0.800639; d0-noise-at-times 0.076579; unknown-layout-at-times 0.052647; d0-noise 0.050208 | mixed 0.830164; open-26 0.168514 · mixed-cards 0.830289; own-cards 0.145349
10010101000000100110100100 10010101000000100110100100 10010101000000100110100100 10010101000000100110100100 | facility 42, card 1234 | none 0.970939; reads-missing 0.007825; lines-swapped-at-times 0.005321; unknown-layout-at-times 0.002817 | as-expected 0.999928; facility-differs 0.000051 · one-card 0.500036; own-cards 0.499964
10010101000000100110100100 | facility 42, card 1235 | none 0.962341; d1-weak 0.011633; d0-weak 0.006221; both-weak 0.005011 | card-differs 0.996141; as-expected 0.003843
10010101000000100110100100 | facility 42, card 41234 | none 0.941725; bytes-reversed 0.025180; d1-weak 0.011384; d0-weak 0.006088 | card-differs 0.992203; different-card 0.007768
0011010110101110101101001101011101010110000000000000000000000000 | none; plain-40 | padded 0.959233; lines-swapped+padded 0.040767 |
00100010001011100001 | none; short-20 | none 0.632061; lines-swapped 0.287300; bits-inverted 0.050700; d1-weak 0.009374 |
00100010001011100001 | card 70001; short-20 | none 0.949660; d1-weak 0.014084; d0-weak 0.008177; both-weak 0.007075 | card-differs 0.992041; as-expected 0.006491
00010010001101000101011001111000 | card 305419897; plain-32 | bits-changed 0.657514; none 0.333463; d1-weak 0.002871; d0-weak 0.001891 | as-expected 0.657296; card-differs 0.342704
100101100001010100 001010000010010100 1001000000010100100 00111000000110010 100111000000110100100 | none | both-weak 0.953946; lines-swapped+both-weak 0.043885; both-weak-at-times 0.002169 | own-cards 1.000000
10010101000000100110100100 10010101000000100110100100 10010101000000100110100100 10010101000000100110100100 10010101000000100110100100 1001010100000100110100100 | none | d0-weak 0.630042; d0-weak-at-times 0.201909; both-weak-at-times 0.112771; both-weak 0.055278 | one-card 1.000000
";

/// One read of `open-26`, the only candidate, from a capture in which the six
/// findings were looked for: the read, what is expected, which were found and
/// where the capture was taken, the four likeliest wire states.
const CAPTURED: &str = "
1001010100000100110100100 | facility 42, card 1234 | missing-beat, short-pulse on D0; panel | d0-weak 0.828538; both-weak 0.171462
01101010111111011001011011 | none | nothing; panel | lines-swapped 0.889493; bit-order-reversed 0.104646; bits-inverted 0.003139; lines-swapped+bytes-reversed 0.002338
01101010111111011001011011 | none | nothing; reader | bit-order-reversed 0.832138; lines-swapped 0.141463; bits-inverted 0.024964; unknown-layout 0.000495
01101010111111011001011011 | facility 42, card 1234 | short-pulse on D1; panel | lines-swapped 0.984068; lines-swapped+d1-noise 0.007330; bits-inverted 0.003473; lines-swapped+d1-weak 0.002234
";

/// The digits shown are six.
const HALF_A_DIGIT: f64 = 5.1e-7;

#[test]
fn every_row_comes_out() {
    let mut off = Vec::new();
    for row in ROWS.trim().lines() {
        let [reads, asked, wires, others] = columns(row);
        let (expected, candidates) = match asked.split_once(';') {
            Some((expected, layouts)) => (expected, candidates(layouts)),
            None => (asked, candidates("open-26")),
        };
        let reads = reads.split(' ').map(|read| match read {
            "(empty)" => "".parse().unwrap(),
            read => read.parse().unwrap(),
        });
        let mut case = Case::of(reads);
        case.reads.iter_mut().for_each(|read| read.expected = card(expected));
        off.extend(compare(row, &solve(&case, &candidates), &candidates, wires, others));
    }
    assert!(off.is_empty(), "{} values are off:\n{}", off.len(), off.join("\n"));
}

#[test]
fn every_row_from_a_capture_comes_out() {
    let mut off = Vec::new();
    for row in CAPTURED.trim().lines() {
        let [read, expected, found, wires] = columns(row);
        let (found, probe) = found.split_once("; ").unwrap();
        let candidates = candidates("open-26");
        let mut case = Case::of([read.parse().unwrap()]);
        case.reads[0].expected = card(expected);
        case.reads[0].pulses = Evidence {
            lines_overlap: Some(false),
            short_pulse: [found.contains("short-pulse on D0"), found.contains("short-pulse on D1")]
                .map(Some),
            double_pulse: [Some(false); 2],
            missing_beat: Some(found.contains("missing-beat")),
        };
        case.captured = Some(match probe {
            "panel" => ProbeAt::Panel,
            _ => ProbeAt::Reader,
        });
        off.extend(compare(row, &solve(&case, &candidates), &candidates, wires, ""));
    }
    assert!(off.is_empty(), "{} values are off:\n{}", off.len(), off.join("\n"));
}

fn columns(row: &str) -> [&str; 4] {
    let columns: Vec<&str> = row.split('|').map(str::trim).collect();
    columns.try_into().unwrap()
}

/// "facility 42, card 1234", or "none".
fn card(said: &str) -> Expected {
    let fields = said.split(", ").filter_map(|field| field.split_once(' '));
    fields.map(|(name, value)| (name.to_owned(), value.parse().unwrap())).collect()
}

fn candidates(names: &str) -> Candidates {
    let layouts = names.split(',').map(|name| (Arc::new(layout(name.trim())), 1.0));
    Candidates::weighted(layouts).configured(0)
}

fn layout(name: &str) -> Layout {
    let spec = built_in::SPECS.iter().find(|spec| spec.name == name).copied();
    Layout::new(spec.unwrap_or(&SHORT_20)).unwrap()
}

/// Twenty bits as the table describes them.
static SHORT_20: Spec<'static> = Spec {
    name: "short-20",
    bits: 20,
    fields: &[FieldSpec::plain("card", &[Span::range(2, 19)])],
    fixed: &[],
    parity: &[
        ParitySpec { bit: 1, kind: Kind::Even, over: &[Span::range(2, 10)] },
        ParitySpec { bit: 20, kind: Kind::Odd, over: &[Span::range(11, 19)] },
    ],
};

fn solve(case: &Case, candidates: &Candidates) -> Posterior {
    posterior(case, candidates, &Model::default(), &mut |_| ControlFlow::Continue(())).unwrap()
}

/// What is off, a line each.
fn compare(
    row: &str,
    found: &Posterior,
    candidates: &Candidates,
    wires: &str,
    others: &str,
) -> Vec<String> {
    let layouts = || candidates.layouts().iter().enumerate();
    let by_wire = Wire::all().map(|wire| (wire.to_string(), found.of_wire(wire))).collect();
    let mut off = compare_list(by_wire, wires, 4);
    for list in others.split(" · ").filter(|list| !list.is_empty()) {
        let (first, _) = list.split_once(' ').unwrap();
        let all: Vec<(String, f64)> = if CardState::ALL.iter().any(|state| state.id() == first) {
            CardState::ALL.map(|state| (state.id().to_owned(), found.of_card(state))).into()
        } else if Whose::ALL.iter().any(|whose| whose.id() == first) {
            Whose::ALL.map(|whose| (whose.id().to_owned(), found.of_whose(whose))).into()
        } else {
            let mixed = [("mixed".to_owned(), found.of_mixed())];
            let of = |(at, layout): (usize, &Arc<Layout>)| {
                (layout.name().to_owned(), found.of_layout(at))
            };
            layouts().map(of).chain(mixed).collect()
        };
        off.extend(compare_list(all, list, 2));
    }
    let sum: f64 = found.joint.iter().map(|combination| combination.probability).sum();
    if (sum - 1.0).abs() > 1e-9 {
        off.push(format!("the sum is {sum}"));
    }
    off.into_iter().map(|off| format!("{row}\n    {off}")).collect()
}

/// Holds what is shown against all that there is; so many are shown at most,
/// and those that are not are under them.
fn compare_list(all: Vec<(String, f64)>, shown: &str, most: usize) -> Vec<String> {
    let shown: Vec<(&str, f64)> = shown
        .split("; ")
        .map(|one| one.split_once(' ').unwrap())
        .map(|(id, value)| (id, value.parse().unwrap()))
        .collect();
    let least = match shown.len() {
        shown if shown < most => 0.0,
        _ => shown.iter().fold(1.0, |least: f64, &(_, value)| least.min(value)),
    };
    assert!(shown.iter().all(|(id, _)| all.iter().any(|(name, _)| name == id)), "{shown:?}");
    let mut off = Vec::new();
    for (id, found) in all {
        match shown.iter().find(|(name, _)| *name == id) {
            Some((_, value)) if (found - value).abs() > HALF_A_DIGIT => {
                off.push(format!("{id} is {found:.7}, not {value:.6}"));
            }
            None if found > least + HALF_A_DIGIT => {
                off.push(format!("{id} is {found:.7} and is not shown"));
            }
            _ => {}
        }
    }
    off
}
