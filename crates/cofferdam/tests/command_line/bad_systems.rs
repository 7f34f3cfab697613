//! Systems that contradict themselves in time: each answered by one error, with its place and its remedy.

use crate::common::*;
use std::fs;
use std::path::{Path, PathBuf};

/// One change to an example and what it must be answered with.
struct Mistake {
    name: &'static str,
    example: &'static str,
    edit: [&'static str; 3],
    /// The code, the text underlined and a part of the remedy.
    answer: [&'static str; 3],
}

const VESSEL: &str = "survey-vessel";
const NACELLE: &str = "nacelle-controller";
const SYSTEM: &str = "system.toml";

const fn mistake(
    name: &'static str,
    example: &'static str,
    edit: [&'static str; 3],
    answer: [&'static str; 3],
) -> Mistake {
    Mistake { name, example, edit, answer }
}

const PING_PATH: &str = "path = [\"SONR.ping\", \"RECD.writer\"]";
const STOP_PATH: &str = "path = [\"STOP.estop\", \"PROP.arb\", \"PROP.ctrl\"]";
const RESET_STAGE: &str = "name = \"reset to loader\"\ntime = \"250 ms\"\n";
const CONTROL: &str = "role = \"control\"\nguest = \"fixed priority\"\n";

/// Five messages in 100 ms, and no more than two taken out.
const SLOW_READER: &str = "channels = [\"channels.csv\"]\n
[[channel]]
name = \"CH25\"
kind = \"queuing\"
size = \"64 B\"
from = \"SONR.ping\"
to = [\"RECD.flush\"]
depth = 8
read = 2
";

const MISTAKES: [Mistake; 13] = [
    mistake(
        "no channel between the tasks",
        VESSEL,
        [SYSTEM, PING_PATH, "path = [\"SONR.ping\", \"MAIN.log\"]"],
        ["E0701", "\"MAIN.log\"", "declare a [[channel]], or name the tasks between the two"],
    ),
    mistake(
        "a channel that is not there",
        NACELLE,
        [SYSTEM, "\"CTRL.bcast\", \"WindState\"", "\"CTRL.bcast\", \"WindStat\""],
        ["E0109", "\"WindStat\"", "did you mean `WindState`?"],
    ),
    mistake(
        "a loop",
        VESSEL,
        [SYSTEM, STOP_PATH, "path = [\"STOP.estop\", \"PROP.arb\", \"PROP.ctrl\", \"STOP.superv\", \"PROP.ctrl\"]"],
        ["E0703", "\"PROP.ctrl\"", "end the chain here, or make two chains of it"],
    ),
    mistake(
        "latency of no kind",
        VESSEL,
        [SYSTEM, "reaction = \"60 ms\"", "latency = \"60 ms\""],
        ["E0101", "\"60 ms\"", "say which: `reaction`"],
    ),
    mistake(
        "no need at all",
        VESSEL,
        [SYSTEM, "reaction = \"60 ms\"\n", ""],
        ["E0704", "[[chain]]", "add one: `reaction`"],
    ),
    mistake(
        "two needs",
        VESSEL,
        [SYSTEM, "reaction = \"60 ms\"\n", "reaction = \"60 ms\"\ndata_age = \"60 ms\"\n"],
        ["E0704", "\"60 ms\"", "keep one, or make two chains of it"],
    ),
    mistake(
        "a reader slower than the writer",
        VESSEL,
        [SYSTEM, "channels = [\"channels.csv\"]\n", SLOW_READER],
        ["E0606", "2", "read at least 5 at once"],
    ),
    mistake(
        "a batch above the depth",
        VESSEL,
        ["channels.csv", "RECD.writer,,6,20 ms,1", "RECD.writer,,6,20 ms,9"],
        ["E0604", "9", "deepen the queue or send fewer at once"],
    ),
    mistake(
        "a server's budget above its period",
        NACELLE,
        [SYSTEM, "{ budget = \"4 ms\", period = \"10 ms\" }", "{ budget = \"11 ms\", period = \"10 ms\" }"],
        ["E0306", "\"11 ms\"", "lower the budget to 10 ms or less"],
    ),
    mistake(
        "a priority where deadlines decide",
        NACELLE,
        [SYSTEM, "name = \"torque\"\nperiod = \"10 ms\"\n", "name = \"torque\"\nperiod = \"10 ms\"\npriority = 2\n"],
        ["E0411", "2", "leave out `priority`"],
    ),
    mistake(
        "boot stages in a circle",
        VESSEL,
        [SYSTEM, RESET_STAGE, "name = \"reset to loader\"\ntime = \"250 ms\"\nafter = [\"hypervisor\"]\n"],
        ["E0801", "\"hypervisor\"", "take one of these names out of `after`"],
    ),
    mistake(
        "partitions that build each other",
        NACELLE,
        [
            SYSTEM,
            CONTROL,
            "role = \"control\"\nbuilt_by = \"BRDG\"\nbuild_time = \"1 ms\"\nguest = \"fixed priority\"\n",
        ],
        ["E0315", "\"CTRL\"", "leave out its `built_by`"],
    ),
    mistake(
        "a threshold of zero",
        VESSEL,
        [SYSTEM, "from = \"cold start\"\ncount = 2", "from = \"cold start\"\ncount = 0"],
        ["E0112", "0", "above zero"],
    ),
];

/// A folder with a changed copy of the mistake's example.
fn changed(mistake: &Mistake) -> PathBuf {
    let folder = scratch(&format!("bad_system_{}", mistake.name.replace([' ', '\''], "_")));
    copy(&root().join("examples").join(mistake.example), &folder);
    let [file, old, new] = mistake.edit;
    edit(&folder.join(file), old, new);
    folder
}

fn copy(from: &Path, to: &Path) {
    for entry in fs::read_dir(from).expect("the example is there") {
        let file = entry.expect("an entry");
        fs::copy(file.path(), to.join(file.file_name())).expect("a file of the example");
    }
}

/// The text above the marks of the first place of a drawn diagnostic.
fn underlined(drawn: &str) -> String {
    let lines: Vec<&str> = drawn.lines().collect();
    let below = lines.iter().position(|line| line.contains('^')).unwrap_or_else(|| panic!("no marks in\n{drawn}"));
    let marks = lines[below].char_indices().filter(|(_, mark)| *mark == '^').map(|(at, _)| at);
    marks.filter_map(|at| lines[below - 1].get(at..=at)).collect()
}

#[test]
fn each_contradiction_is_one_error_with_its_place_and_its_remedy() {
    for mistake in &MISTAKES {
        let run = call(&changed(mistake), &["check", "."]).expect(2);
        let [code, text, remedy] = mistake.answer;
        run.complains(&[
            &format!("error[{code}]"),
            &format!("--> ./{}:", mistake.edit[0]),
            "= help: ",
            remedy,
            "\n1 error;",
        ]);
        assert_eq!(underlined(&run.err), text, "{}:\n{}", mistake.name, run.err);
        assert!(run.out.is_empty(), "{}", mistake.name);
    }
}
