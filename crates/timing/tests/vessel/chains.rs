use crate::system::vessel;
use timing::claims::check;

#[test]
fn show() {
    let (system, plan) = vessel();
    for v in check(&system, &plan).iter().filter(|v| v.id.starts_with("reaction") || v.id.starts_with("data_age")) {
        println!("{} {:?} generic {:?} table {:?} bound {:?} limit {:?} exact {} {:?}", v.id, v.status, v.generic, v.table_aware, v.bound, v.limit, v.exact, v.reason);
        for p in &v.parts { println!("     {} {} {}", p.what, p.kind.word(), p.ns); }
    }
}
