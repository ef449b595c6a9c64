#![allow(clippy::unwrap_used)]
mod little;
use little::*;
use misread::cause::*;
#[test]
fn draws() {
    let mut littles = littles(); littles.extend(two_bytes());
    let wires = wires();
    assert_eq!(wires, Wire::all().collect::<Vec<_>>());
    let mut counts = std::collections::BTreeMap::new();
    let mut kinds = std::collections::BTreeMap::new();
    let start = std::time::Instant::now();
    for number in 0..1005u64 {
        let wire = wires[number as usize % wires.len()];
        let d = draw(wire, &littles, 26, number);
        let q = d.question(&littles);
        if q.reads().0.is_empty() { *kinds.entry("empty").or_insert(0) += 1; continue; }
        if !q.fits() { *kinds.entry("unfit").or_insert(0) += 1; continue; }
        if q.said == Said::OneCard && q.cards_differ() { *kinds.entry("differ").or_insert(0) += 1; continue; }
        let t = std::time::Instant::now();
        let w = weigh(&q);
        if t.elapsed().as_millis() > 400 { println!("{number} {wire} {:?} {:?}", t.elapsed(), d.layouts.iter().map(|l| littles[*l].name).collect::<Vec<_>>()); }
        if w.iter().any(|(k, v)| k.0 == wire && *v > 0.0) { *counts.entry(wire).or_insert(0) += 1; }
        if let Some(p) = suffering(&q, wire) { assert!(p.iter().all(|p| (-1e-12..=1.0+1e-12).contains(p)), "{p:?}"); }
    }
    println!("{:?} {kinds:?}", start.elapsed());
    for w in wires { println!("{w} {:?}", counts.get(&w)); }
}
