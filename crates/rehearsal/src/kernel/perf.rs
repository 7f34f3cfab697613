//! The switch events that `perf` records of itself: these need no tracepoints, and with them no trace file.

use rustix::fs::{MemfdFlags, memfd_create};
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek};
use std::os::unix::process::CommandExt;
use std::process::{Child, ChildStderr, Command, Stdio};

/// What is kept of it is bounded; it goes to memory of ours.
const RECORD: [&str; 12] = [
    "record",
    "--quiet",
    "-k",
    "CLOCK_MONOTONIC",
    "-e",
    "dummy",
    "--switch-events",
    "--max-size",
    "64M",
    "-o",
    "-",
    "-C",
];
/// What runs while it is recorded: it says that recording has begun, and waits until its input ends. That ends however we do.
const WHILE: [&str; 4] = ["--", "sh", "-c", "echo recording >&2; read -r _"];
const READY: &str = "recording";
const SCRIPT: [&str; 8] =
    ["script", "-i", "-", "--ns", "--show-switch-events", "--show-lost-events", "-F", "comm,tid,cpu,time,event"];
/// So many bytes of what it complains of are told.
const MOST_WORDS: u64 = 400;

/// A recording under way. It ends when this is dropped.
#[derive(Debug)]
pub struct Perf {
    program: String,
    child: Child,
    /// It is not to break on a pipe that nobody reads.
    complaints: BufReader<ChildStderr>,
    data: File,
}

impl Perf {
    /// Begins to record the switches of these cpus by the program of that name, on the monotonic clock.
    ///
    /// # Errors
    /// Why it does not, in a sentence without its point.
    pub fn start(program: &str, cpus: &[usize]) -> Result<Self, String> {
        let data = memfd_create("rehearsal-kernel", MemfdFlags::CLOEXEC).map(File::from);
        let data = data.map_err(|why| format!("the kernel gives no memory for what `{program}` records: {why}"))?;
        let output = data.try_clone().map_err(|why| format!("memory cannot be shared with `{program}`: {why}"))?;
        let mut command = Command::new(program);
        let cpus = cpus.iter().map(usize::to_string).collect::<Vec<_>>().join(",");
        command.args(RECORD).arg(cpus).args(WHILE).stdin(Stdio::piped()).stdout(output).stderr(Stdio::piped());
        // In a group of its own, so that Ctrl-C ends it when we do and not before.
        let mut child = command.process_group(0).spawn().map_err(|why| match why.kind() {
            std::io::ErrorKind::NotFound => format!("there is no program `{program}` (Debian: linux-perf)"),
            _ => format!("`{program}` cannot be started: {why}"),
        })?;
        let complaints = child.stderr.take().map(BufReader::new).ok_or("internal alarm: a pipe that was asked for")?;
        let mut perf = Self { program: program.to_owned(), child, complaints, data };
        perf.wait_until_ready().map(|()| perf)
    }

    fn wait_until_ready(&mut self) -> Result<(), String> {
        let mut said = String::new();
        let mut words = (&mut self.complaints).take(MOST_WORDS);
        while !said.lines().any(|line| line == READY) {
            let read =
                words.read_line(&mut said).map_err(|why| format!("`{}` cannot be heard: {why}", self.program))?;
            if read == 0 {
                return Err(format!("`{}` does not record: {}", self.program, first_sentence(&said)));
            }
        }
        Ok(())
    }

    /// Ends the recording, and gives its text.
    ///
    /// # Errors
    /// Why it cannot be read, in a sentence without its point.
    pub fn finish(mut self) -> Result<String, String> {
        let program = self.program.clone();
        let failed = |why: std::io::Error| format!("what `{program}` recorded cannot be read: {why}");
        if let Ok(Some(status)) = self.child.try_wait() {
            return Err(format!("`{program}` ended before the rehearsal did ({status})"));
        }
        drop(self.child.stdin.take());
        self.child.wait().map_err(failed)?;
        self.data.rewind().map_err(failed)?;
        let mut command = Command::new(&program);
        command.args(SCRIPT).stdin(self.data.try_clone().map_err(failed)?).stderr(Stdio::null());
        let output = command.process_group(0).output().map_err(failed)?;
        if !output.status.success() {
            return Err(format!("what `{program}` recorded cannot be read: it gives {} for it", output.status));
        }
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    }
}

/// The first sentence of a complaint, without its point.
fn first_sentence(said: &str) -> String {
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    let said = said.trim_start_matches("Error: ");
    said.split_once(". ").map_or(said, |(first, _)| first).trim_end_matches('.').to_owned()
}

impl Drop for Perf {
    fn drop(&mut self) {
        drop(self.child.stdin.take());
        // One that has ended already cannot be killed, and need not be.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    /// A program that stands for `perf`, as a shell script.
    fn program(name: &str, script: &str) -> String {
        let path = std::env::temp_dir().join(format!("cofferdam-{}-{name}", std::process::id()));
        std::fs::write(&path, format!("#!/bin/sh\n{script}\n")).expect("a script is written");
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o700)).expect("it can be executed");
        path.to_str().expect("the path is text").to_owned()
    }

    #[test]
    fn what_is_missing_is_said() {
        let missing = Perf::start("cofferdam-no-such-program", &[0]).expect_err("there is none");
        assert_eq!(missing, "there is no program `cofferdam-no-such-program` (Debian: linux-perf)");
        let refused = program("refused", "echo 'Error:\nAccess to events\n  is limited. Ask for it.' >&2; exit 255");
        let why = Perf::start(&refused, &[0]).expect_err("it refuses");
        assert_eq!(why, format!("`{refused}` does not record: Access to events is limited"));
        std::fs::remove_file(refused).expect("the script goes away");
    }

    #[test]
    fn it_records_until_it_is_to_end_and_prints_what_it_recorded_of_the_cpus() {
        let script = "case $1 in record) while [ \"$1\" != -C ]; do shift; done; echo -n of $2; shift 3; \"$@\"; echo -n ' until now';; \
                      script) cat;; esac";
        let stand_in = program("stand-in", script);
        let perf = Perf::start(&stand_in, &[1, 3]).expect("it records");
        assert_eq!(perf.finish(), Ok("of 1,3 until now".to_owned()));
        let mut ended = Perf::start(&program("stand-in", "echo recording >&2"), &[0]).expect("it says so");
        ended.child.wait().expect("it ends");
        assert!(ended.finish().expect_err("too early").contains("ended before the rehearsal did"));
        std::fs::remove_file(stand_in).expect("the script goes away");
    }
}
