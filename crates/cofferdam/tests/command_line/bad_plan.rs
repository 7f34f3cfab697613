//! Wrong plans: status 2 and a clear word, never a verdict about half of one.

use crate::common::*;

#[test]
fn a_plan_that_is_no_plan_is_refused() {
    let folder = with_starter("plan_bad");
    let cases: [(&str, &[u8], &[&str]); 7] = [
        ("empty.toml", b"", &["E0511", "empty.toml:1:1", "cofferdam plan SYSTEM --out PLAN"]),
        ("remarks.toml", b"# to be done\n", &["E0511", "remarks.toml:1:1"]),
        ("garbage.toml", b"garbage \x01\x02 = = ", &["E0004", "garbage.toml:1:9"]),
        ("binary.toml", b"\xff\xfe\0", &["E0003", "binary.toml:1:1", "UTF-8"]),
        ("letter.toml", b"Dear integrator,\nplease find enclosed\n", &["E0004", "letter.toml:1:"]),
        (
            "keys.toml",
            b"[[window]]\ncoer = \"0\"\npartition = \"RAMP\"\nstart = \"0 ms\"\nlength = \"1 ms\"\n",
            &["E0101", "keys.toml:2:1", "did you mean `core`?"],
        ),
        (
            "names.toml",
            b"[[window]]\ncore = \"0\"\npartition = \"RUMP\"\nstart = \"0 ms\"\nlength = \"1 ms\"\n",
            &["E0109", "names.toml:3:13", "did you mean `RAMP`?"],
        ),
    ];
    for (name, bytes, parts) in cases {
        write(&folder.join(name), bytes);
        let run = call(&folder, &["check", "ramp", "--plan", name]).expect(2);
        run.complains(parts);
        assert!(run.out.is_empty(), "{name}:\n{}", run.out);
        call(&folder, &["plan", "ramp", "--keep", name, "--out", "p.toml"]).expect(2).complains(parts);
    }
    assert!(!folder.join("p.toml").exists());
}

#[test]
fn a_plan_that_cannot_be_read_is_refused() {
    let folder = with_starter("plan_unreadable");
    let missing = call(&folder, &["check", "ramp", "--plan", "gone.toml"]).expect(2);
    missing.complains(&["error[E0532]: there is no plan `gone.toml`", "--> gone.toml", "= help: "]);
    let is_folder = call(&folder, &["check", "ramp", "--plan", "ramp"]).expect(2);
    is_folder.complains(&["error[E0532]: the plan `ramp` cannot be read: it is a folder", "= help: "]);
    std::fs::remove_file(folder.join("ramp/plan.toml")).expect("the starter has a plan");
    let named = call(&folder, &["check", "ramp"]).expect(2);
    named.complains(&["error[E0532]: there is no plan `plan.toml`", "--> ramp/system.toml:17:8"]);
}

#[test]
fn a_system_without_a_plan_says_how_to_get_one() {
    let folder = with_starter("plan_none");
    let system = folder.join("ramp/system.toml");
    edit(&system, "plan = \"plan.toml\" ", "");
    call(&folder, &["check", "ramp"]).expect(2).complains(&[
        "error[E0531]",
        "give --plan",
        "`cofferdam plan` makes one",
    ]);
    call(&folder, &["check", "ramp", "--plan", "ramp/plan.toml"]).expect(0);
}
