//! Lays the seeds of one parser into a folder, for the search that begins with them; says how long an input may be. Without a
//! parser: names them all.
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "it speaks to `cargo xtask fuzz`")]

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let done = match words.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        [] => {
            for target in fuzz::TARGETS {
                println!("{}", target.name);
            }
            Ok(())
        }
        [name, folder] => lay(name, Path::new(folder)),
        _ => Err("usage: lay-seeds [PARSER FOLDER]".to_owned()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("cannot lay the seeds: {why}");
            ExitCode::FAILURE
        }
    }
}

fn lay(name: &str, folder: &Path) -> Result<(), String> {
    let target = fuzz::target(name).ok_or_else(|| format!("there is no parser `{name}`"))?;
    let wrong = |error: std::io::Error| error.to_string();
    std::fs::create_dir_all(folder).map_err(wrong)?;
    for (name, bytes) in fuzz::seeds::of(target.name).map_err(wrong)? {
        std::fs::write(folder.join(name), bytes).map_err(wrong)?;
    }
    println!("{}", target.longest);
    Ok(())
}
