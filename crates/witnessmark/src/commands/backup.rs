//! `backup` and `restore`: the whole record in one locked file, and back.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;
use store::backups::Noted;
use store::carried::{Beside, Checked, Manifest, Source, check, take_in};
use store::{Backups, Opening, Passphrase, SqliteStore, carried};

use crate::commands::carry::{everything_in, knowledge_beside, named_out};
use crate::desk::{Desk, read_text};
use crate::progress::Bar;
use crate::show::count;
use crate::surroundings;
use crate::talk::complain;
use crate::trouble::{Done, Exit, Trouble};

/// Copies the whole record into one file that only the passphrase opens; work may go on meanwhile.
#[derive(Debug, Args)]
#[command(after_help = WORDS_HELP)]
pub(crate) struct Backup {
    /// The file, or a folder that gets a file named after the time.
    #[arg(long, value_name = "FILE-or-DIR")]
    to: PathBuf,
    #[command(flatten)]
    words: Words,
}

/// Brings a record back from a backup, into a new folder; what is in the file is checked before anything is written.
#[derive(Debug, Args)]
#[command(after_help = WORDS_HELP)]
pub(crate) struct Restore {
    /// The backup.
    file: PathBuf,
    /// The new folder.
    #[arg(long, value_name = "NEWDIR", required_unless_present = "drill", conflicts_with = "drill")]
    to: Option<PathBuf>,
    /// Proves the backup and keeps nothing: opens it, checks every line and photo, and says what would come back.
    #[arg(long)]
    drill: bool,
    #[command(flatten)]
    words: Words,
}

const WORDS_HELP: &str = "\
The passphrase is read from --passphrase-file, else from WITNESSMARK_PASSPHRASE, else asked for. It is never a word of
the command. Without it a backup cannot be opened by anybody: keep it on paper, away from the computer.";

/// Where the passphrase comes from.
#[derive(Debug, Args)]
pub(crate) struct Words {
    /// A file whose first line is the passphrase.
    #[arg(long, value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
}

impl Words {
    /// The passphrase; for a new backup it is asked for twice and must be long enough.
    fn passphrase(&self, desk: &Desk, new: bool) -> Result<Passphrase, Trouble> {
        let passphrase = match (&self.passphrase_file, surroundings::passphrase()) {
            (Some(file), _) => {
                if surroundings::is_open_to_others(file) {
                    let next = "let nobody but yourself read it";
                    complain(&format!("witnessmark: others on this machine can read {}; {next}", file.display()));
                }
                read_text(file)?.lines().next().unwrap_or_default().to_owned()
            }
            (None, Some(told)) => told,
            (None, None) => asked(desk, new)?,
        };
        let doing = "take the passphrase";
        if passphrase.is_empty() {
            return Err(Trouble::new(Exit::Usage, doing, "it is empty; write it into the first line of the file"));
        }
        let passphrase = Passphrase::new(passphrase);
        if new && !passphrase.is_long_enough() {
            let why = format!(
                "it has fewer than {} characters, and whoever finds the backup can try as often as he likes; take five or \
                 six words that have nothing to do with one another",
                Passphrase::SHORTEST
            );
            return Err(Trouble::new(Exit::Refused, doing, why));
        }
        Ok(passphrase)
    }
}

/// Asks for the passphrase at the terminal.
fn asked(desk: &Desk, new: bool) -> Result<String, Trouble> {
    let term = console::Term::stderr();
    if desk.talk.no_input() || !term.is_term() || !std::io::stdin().is_terminal() {
        return Err(Trouble::new(
            Exit::Usage,
            "take the passphrase",
            "nobody can be asked for it here; name a file with --passphrase-file, or set WITNESSMARK_PASSPHRASE",
        ));
    }
    let ask = |what: &str| {
        let read = term.write_str(what).and_then(|()| term.read_secure_line());
        read.map_err(|error| Trouble::file("read the passphrase", &error))
    };
    let first = ask("Passphrase of the backup: ")?;
    if new && ask("The same once more: ")? != first {
        return Err(Trouble::new(Exit::Usage, "take the passphrase", "the two are not the same; type it again"));
    }
    Ok(first)
}

impl Backup {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let doing = format!("back up {}", desk.store.name());
        let store = desk.look().await?;
        let passphrase = self.words.passphrase(desk, true)?;
        let at = surroundings::now();
        let file = if self.to.is_dir() {
            self.to.join(format!("witnessmark-{}.backup", at.strftime("%Y-%m-%dT%H%M%SZ")))
        } else {
            self.to.clone()
        };
        let beside = Beside { made_by: made_by(), made_at: Some(at), knowledge: knowledge_beside(desk)? };
        let bar = Bar::new("backing up", &desk.talk);
        let made = carried::back_up(&store, &file, &passphrase, beside, &mut |p| bar.at(p.done, p.of)).await;
        bar.away();
        store.close().await;
        let made = made.map_err(|error| Trouble::carried(&doing, &error))?;
        // What was written is read back: a backup that nobody has opened is a hope.
        let bar = Bar::bytes("reading it back", &desk.talk);
        let source = Source::Locked { file: file.clone(), passphrase };
        let read = check(&source, &mut |p| bar.at(p.done, p.of));
        bar.away();
        let read = read.map_err(|error| Trouble::carried(format!("read back {}", file.display()), &error))?;
        if read.state != made.state || !read.wrong.is_empty() {
            let why = "it does not hold what was written; take another disk and back up again";
            return Err(Trouble::new(Exit::Storage, format!("read back {}", file.display()), why));
        }
        note_made(desk, Noted { at, entries: made.entries, state: made.state.clone() });
        if desk.talk.json() {
            desk.talk
                .answer(&json!({"file": file.display().to_string(), "jobs": made.jobs, "entries": made.entries,
                "photos": made.attachments, "state": made.state, "left_out": made.left_out}))?;
        } else {
            desk.talk.line(
                &format!(
                    "backed up: {} in {}, written and read back; state hash {}",
                    holds(&made),
                    file.display(),
                    made.state
                ),
                2,
            )?;
        }
        named_out(&made.left_out, &doing, "is in the backup; `witnessmark verify` says more")
    }
}

impl Restore {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let passphrase = self.words.passphrase(desk, false)?;
        let source = Source::Locked { file: self.file.clone(), passphrase };
        let doing = format!("open the backup {}", self.file.display());
        let bar = Bar::bytes("checking", &desk.talk);
        let checked = check(&source, &mut |p| bar.at(p.done, p.of));
        bar.away();
        let checked = checked.map_err(|error| Trouble::carried(&doing, &error))?;
        let Some(manifest) = checked.manifest.clone() else {
            return Err(Trouble::new(Exit::Problem, doing, "it has no list of what is in it; take another copy"));
        };
        match &self.to {
            None => self.drilled(desk, &checked, &manifest),
            Some(target) => restored(desk, &source, &checked, &manifest, target).await,
        }
    }

    /// Says what a backup would bring back.
    fn drilled(&self, desk: &Desk, checked: &Checked, manifest: &Manifest) -> Done {
        if let Some(folder) = desk.store.folder() {
            let mut backups = Backups::of(folder);
            if backups.made.as_ref().is_some_and(|made| made.state == checked.state) {
                let at = surroundings::now();
                backups.proved = Some(Noted { at, entries: checked.entries, state: checked.state.clone() });
                // A drill may be done where the shop's folder cannot be written; then the bench shows an earlier one.
                let _noted = backups.note(folder);
            }
        }
        if desk.talk.json() {
            desk.talk.answer(
                &json!({"whole": checked.wrong.is_empty(), "jobs": manifest.jobs, "entries": checked.entries,
                "photos": checked.attachments, "oldest": manifest.oldest, "newest": manifest.newest,
                "made_at": manifest.made_at, "state": checked.state, "left_out": manifest.left_out}),
            )?;
        } else {
            let between = match (checked.oldest, checked.newest) {
                (Some(oldest), Some(newest)) => format!(
                    ", the oldest entry of {}, the newest of {}",
                    surroundings::minute_of(oldest),
                    surroundings::minute_of(newest)
                ),
                _ => String::new(),
            };
            let made = manifest.made_at.as_ref().and_then(|at| at.parse().ok());
            let made = made.map_or_else(String::new, |at| format!(", made {},", surroundings::minute_of(at)));
            desk.talk.line(
                &format!(
                    "This backup{made} opens and would come back whole: {}{between}, every line and photo as it was \
                     written, state hash {}.",
                    holds(manifest),
                    checked.state
                ),
                2,
            )?;
        }
        named_out(&manifest.left_out, "call this backup complete", "would come back")
    }
}

/// Notes for the bench that a backup was made, where there is a folder to note it in.
fn note_made(desk: &Desk, made: Noted) {
    let Some(folder) = desk.store.folder() else {
        desk.talk.say(
            "witnessmark: the record lies on a server, and no bench shows when it was backed up; keep a list beside the backups",
        );
        return;
    };
    let mut backups = Backups::of(folder);
    backups.made = Some(made);
    if let Err(error) = backups.note(folder) {
        desk.talk.say(&format!(
            "witnessmark: the backup is made, and that it was could not be noted in {} ({error}); the bench shows an earlier \
             one",
            folder.display()
        ));
    }
}

/// Brings a checked backup back into a new folder.
async fn restored(desk: &Desk, source: &Source, checked: &Checked, manifest: &Manifest, target: &Path) -> Done {
    let doing = format!("restore into {}", target.display());
    let holds_something = std::fs::read_dir(target).is_ok_and(|mut items| items.next().is_some());
    if holds_something || target.is_file() {
        let why = "it is there and not empty, and a record is never restored over another; name a new folder";
        return Err(Trouble::new(Exit::Conflict, doing, why));
    }
    // The folder gets its name once everything is in it.
    let mut name = target.file_name().map(std::ffi::OsStr::to_os_string).unwrap_or_default();
    name.push(".restoring");
    let part = target.with_file_name(name);
    if part.exists() {
        let why = format!("{} is left from a restore that was cut short; remove it and do this again", part.display());
        return Err(Trouble::new(Exit::Conflict, doing, why));
    }
    let bar = Bar::new("restoring", &desk.talk);
    let done = async {
        let store = SqliteStore::open(Opening::of(&part)).await?;
        let taken =
            take_in(&store, source, checked, Some(&part.join("knowledge")), &mut |p| bar.at(p.done, p.of)).await;
        taken.map_err(|error| Trouble::carried(&doing, &error))?;
        let state = store::state_hash(&store).await?.to_string();
        store.close().await;
        if state != manifest.state {
            let why = format!("what came back has the state hash {state} and the backup {}; try again", manifest.state);
            return Err(Trouble::new(Exit::Storage, &doing, why));
        }
        std::fs::rename(&part, target).map_err(|error| Trouble::file(&doing, &error))
    }
    .await;
    bar.away();
    if done.is_err() {
        // Half a record would only be taken for a whole one.
        let _gone = std::fs::remove_dir_all(&part);
    }
    done?;
    if desk.talk.json() {
        desk.talk.answer(&json!({"store": target.display().to_string(), "jobs": manifest.jobs,
            "entries": manifest.entries, "photos": manifest.attachments, "state": manifest.state,
            "left_out": manifest.left_out}))?;
    } else {
        let next = format!("witnessmark --store {} serve", target.display());
        desk.talk.line(
            &format!(
                "restored: {} in {}, state hash {}; open it with `{next}`",
                holds(manifest),
                target.display(),
                manifest.state
            ),
            2,
        )?;
    }
    named_out(&manifest.left_out, "restore everything", "came back")
}

fn holds(manifest: &Manifest) -> String {
    everything_in(manifest.jobs, manifest.entries, manifest.attachments)
}

/// The program and its version, as manifests name it.
pub(crate) fn made_by() -> String {
    format!("witnessmark {}", env!("CARGO_PKG_VERSION"))
}

/// How many of something, for numbers of any width.
pub(crate) fn many(n: u64, one: &str, more: &str) -> String {
    count(usize::try_from(n).unwrap_or(usize::MAX), one, more)
}
