//! The benchmark binary: `cofferdam-bench AREA FILE [options]` prints one JSON object.

#![allow(clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod chains;
mod convert;
mod des;
mod evt;
mod instance;
mod machine;
mod rta;
mod timed;
mod trace;

use std::path::Path;
use std::process::ExitCode;

const USAGE: &str = "usage: cofferdam-bench rta|chains FILE [--reps N] | \
                     des FILE [--runs N] [--threads N] [--engine table|general] [--faults] | \
                     evt FILE [--boot N] [--threads N] | \
                     trace DIR --format text|csv|ctf [--threads N] | convert FILE --out DIR";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match run(&words) {
        Ok(line) => {
            println!("{line}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn run(words: &[&str]) -> Result<String, Box<dyn std::error::Error>> {
    if let ["convert", file, "--out", folder] = words {
        convert::convert(Path::new(file), Path::new(folder))?;
        return Ok(format!("{{\"written\":{folder:?}}}"));
    }
    if let ["des", file, options @ ..] = words {
        return Ok(serde_json::to_string(&des::run(Path::new(file), &des::Options::read(options)?)?)?);
    }
    if let ["evt", file, options @ ..] = words {
        return Ok(serde_json::to_string(&evt::run(Path::new(file), &evt::Options::read(options)?)?)?);
    }
    if let ["trace", folder, options @ ..] = words {
        return Ok(serde_json::to_string(&trace::run(Path::new(folder), &trace::Options::read(options)?)?)?);
    }
    let (area, file, reps) = match words {
        [area, file] => (area, file, None),
        [area, file, "--reps", count] | [area, "--reps", count, file] => (area, file, Some(count.parse()?)),
        _ => return Err(USAGE.into()),
    };
    match *area {
        "rta" => Ok(serde_json::to_string(&rta::run(Path::new(file), reps)?)?),
        "chains" => Ok(serde_json::to_string(&chains::run(Path::new(file), reps)?)?),
        _ => Err(USAGE.into()),
    }
}
