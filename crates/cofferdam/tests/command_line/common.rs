//! Calls of the program, and systems to call it with.

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output};

/// What a call gave.
pub struct Run {
    pub status: i32,
    pub out: String,
    pub err: String,
}

impl Run {
    /// Fails with all that was printed unless the status is this one.
    pub fn expect(self, status: i32) -> Self {
        assert_eq!(self.status, status, "standard output:\n{}standard error:\n{}", self.out, self.err);
        self
    }

    /// Standard output as the one JSON object that it must be, with the status in it where the shape has one.
    pub fn json(&self) -> Value {
        let value: Value = serde_json::from_str(&self.out).unwrap_or_else(|why| panic!("{why}\n{}", self.out));
        assert!(value.is_object(), "{}", self.out);
        assert_eq!(value["exit_status"], self.status, "{}", self.out);
        value
    }

    /// Fails unless each of the parts stands in what was printed to standard error.
    pub fn complains(&self, parts: &[&str]) {
        for part in parts {
            assert!(self.err.contains(part), "`{part}` is missing from\n{}", self.err);
        }
        assert!(!self.err.contains("panicked"), "{}", self.err);
    }
}

impl From<Output> for Run {
    fn from(output: Output) -> Self {
        let text = |bytes| String::from_utf8(bytes).expect("the program writes UTF-8");
        // A program ended by a signal has no status; none of the numbers of the contract is negative.
        Self { status: output.status.code().unwrap_or(-1), out: text(output.stdout), err: text(output.stderr) }
    }
}

/// The program, called from a folder, in an environment that says nothing of colour or width.
pub fn command(folder: &Path, words: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_cofferdam"));
    command.current_dir(folder).args(words).env_remove("NO_COLOR").env_remove("COLUMNS");
    command
}

/// Calls the program from a folder.
pub fn call(folder: &Path, words: &[&str]) -> Run {
    command(folder, words).output().expect("the program starts").into()
}

/// Sends a signal, such as `-INT` for Ctrl-C, to a program that was started here.
pub fn signal(child: &Child, name: &str) {
    let sent = Command::new("kill").args([name, &child.id().to_string()]).status().expect("signals can be sent");
    assert!(sent.success(), "it has ended before {name}");
}

/// The root of the source tree.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).ancestors().nth(2).expect("this crate lies two folders down").to_owned()
}

/// An empty folder for one test.
pub fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("command_line").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("the folder for tests can be written");
    folder
}

/// A folder for one test with a copy of the survey vessel in `vessel`.
pub fn with_vessel(name: &str) -> PathBuf {
    let folder = scratch(name);
    let vessel = folder.join("vessel");
    fs::create_dir(&vessel).expect("the folder is new");
    for file in ["system.toml", "tasks.csv", "channels.csv", "board.dts", "plan.toml"] {
        fs::copy(root().join("examples/survey-vessel").join(file), vessel.join(file)).expect("the example is there");
    }
    folder
}

/// A folder for one test with the starter system in `ramp`.
pub fn with_starter(name: &str) -> PathBuf {
    let folder = scratch(name);
    call(&folder, &["new", "ramp"]).expect(0);
    folder
}

/// Replaces what stands once in a file.
pub fn edit(file: &Path, old: &str, new: &str) {
    let text = read(file);
    assert_eq!(text.matches(old).count(), 1, "`{old}` in {}", file.display());
    write(file, text.replace(old, new));
}

pub fn read(file: &Path) -> String {
    fs::read_to_string(file).unwrap_or_else(|why| panic!("{}: {why}", file.display()))
}

pub fn write(file: &Path, text: impl AsRef<[u8]>) {
    fs::write(file, text).unwrap_or_else(|why| panic!("{}: {why}", file.display()));
}

/// The verdicts of an answer.
pub fn verdicts(answer: &Value) -> &[Value] {
    answer["verdicts"].as_array().expect("the answer has a list of verdicts")
}

/// The verdict of this id.
pub fn verdict<'a>(answer: &'a Value, id: &str) -> &'a Value {
    verdicts(answer).iter().find(|verdict| verdict["id"] == id).unwrap_or_else(|| panic!("there is no {id}"))
}

/// The codes of an answer's diagnostics, in their order.
pub fn codes(answer: &Value) -> Vec<&str> {
    let all = answer["diagnostics"].as_array().expect("the answer has a list of diagnostics");
    all.iter().map(|found| found["code"].as_str().expect("a code is a text")).collect()
}

/// Lets the charged time of every task of a partition of the vessel grow by some percent, through its table of tasks.
///
/// Charged is `C + 0.2 us * N + 8 us`: of N line requests each waits for four other masters, 50 ns each, and a job is
/// charged two context switches of 4 us. What is added goes to C, which makes the charged time grow as asked.
pub fn grow(tasks: &Path, partition: &str, percent: u64) {
    let grown = |line: &str| {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        if cells[0] == partition {
            let number = |cell: &str| cell.trim_end_matches(" us").parse::<u64>().expect("a whole number");
            let (wcet_ns, requests) = (number(&cells[5]) * 1_000, number(&cells[7]));
            let charged_ns = wcet_ns + 200 * requests + 8_000;
            cells[5] = format!("{} ns", wcet_ns + charged_ns * percent / 100);
        }
        cells.join(",") + "\n"
    };
    write(tasks, read(tasks).lines().map(grown).collect::<String>());
}
