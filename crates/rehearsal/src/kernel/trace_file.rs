//! The kernel's own trace file: an instance of its tracing that is ours alone and goes away with us.

use std::fs;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

const INSTANCES: &str = "/sys/kernel/tracing/instances";
const OURS: &str = "cofferdam-rehearsal-";
/// What is kept of each cpu, in KiB: the kernel overwrites the oldest events beyond that.
const KIB_A_CPU: &str = "8192";

/// A recording under way. The instance is removed when this is dropped.
#[derive(Debug)]
pub struct TraceFile {
    folder: PathBuf,
    /// Removes the instance once its input ends, as it does too where we are killed; `None` where it could not be started.
    remover: Option<Child>,
}

impl TraceFile {
    /// Begins to record the switches of these cpus, on the monotonic clock.
    ///
    /// # Errors
    /// What the kernel did not let us do, in a sentence.
    pub fn start(cpus: &[usize]) -> Result<Self, String> {
        if !Path::new(INSTANCES).is_dir() {
            return Err(format!("there is no {INSTANCES}: it is not mounted, or may not be seen"));
        }
        remove_left_over();
        let folder = Path::new(INSTANCES).join(format!("{OURS}{}", std::process::id()));
        fs::create_dir(&folder).map_err(|why| format!("{} cannot be made: {why}", folder.display()))?;
        let remover = remover(&folder);
        let tracing = Self { folder, remover };
        tracing.set("trace_clock", "mono")?;
        tracing.set("buffer_size_kb", KIB_A_CPU)?;
        tracing.set("tracing_cpumask", &mask(cpus))?;
        tracing.set("events/sched/sched_switch/enable", "1")?;
        tracing.set("tracing_on", "1")?;
        Ok(tracing)
    }

    fn set(&self, file: &str, value: &str) -> Result<(), String> {
        let path = self.folder.join(file);
        fs::write(&path, value).map_err(|why| format!("{} cannot be written: {why}", path.display()))
    }

    /// Ends the recording, and gives its text.
    ///
    /// # Errors
    /// Why it cannot be read, in a sentence.
    pub fn finish(self) -> Result<String, String> {
        self.set("tracing_on", "0")?;
        let path = self.folder.join("trace");
        let bytes = fs::read(&path).map_err(|why| format!("{} cannot be read: {why}", path.display()))?;
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }
}

impl Drop for TraceFile {
    fn drop(&mut self) {
        // An instance that cannot be removed is removed by the next rehearsal.
        let _ = fs::remove_dir(&self.folder);
        if let Some(remover) = &mut self.remover {
            drop(remover.stdin.take());
            let _ = remover.wait();
        }
    }
}

fn remover(folder: &Path) -> Option<Child> {
    let mut command = Command::new("sh");
    command.args(["-c", "read -r _; rmdir \"$1\"", "sh"]).arg(folder).stdin(Stdio::piped());
    // In a group of its own, so that what ends us does not end it.
    command.stdout(Stdio::null()).stderr(Stdio::null()).process_group(0).spawn().ok()
}

/// Removes the instances of rehearsals that were killed together with their removers.
fn remove_left_over() {
    let Ok(entries) = fs::read_dir(INSTANCES) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let process = name.to_str().and_then(|name| name.strip_prefix(OURS)).and_then(|id| id.parse::<u32>().ok());
        if process.is_some_and(|id| !Path::new(&format!("/proc/{id}")).exists()) {
            let _ = fs::remove_dir(entry.path());
        }
    }
}

/// A set of cpus as the kernel reads it: 32 of them in each group of hexadecimal digits, the highest first.
fn mask(cpus: &[usize]) -> String {
    let groups = cpus.iter().max().map_or(0, |most| most / 32) + 1;
    let group = |group: usize| {
        let bits = cpus.iter().filter(|cpu| **cpu / 32 == group).fold(0_u32, |bits, cpu| bits | 1 << (cpu % 32));
        format!("{bits:08x}")
    };
    (0..groups).rev().map(group).collect::<Vec<_>>().join(",")
}

#[cfg(test)]
mod tests {
    #[test]
    fn cpus_are_written_in_groups() {
        assert_eq!(super::mask(&[0, 1]), "00000003");
        assert_eq!(super::mask(&[1, 32, 35]), "00000009,00000002");
    }
}
