//! The command line: one binary that reads commands, calls the rooms and prints what they say.
//!
//! * **For:** the technician at a terminal, and every program that reads JSON Lines or JSON.
//! * **Comes in:** the words typed, files named in them, the folder of the record.
//! * **Goes out:** results on standard output, talk on standard error, an exit code of `trouble::Exit`.
//! * **Must not:** judge a reading, compute a belief or hold a figure of the trade.
//!
//! Modules in reading order: `trouble` (exit codes), `surroundings` (environment, clock, chance), `talk` (paper and
//! voice), `progress`, `desk` (store, job, knowledge, entry), `show` (a case on paper), `commands` (one module a
//! command). What reads words and tables can be called without a terminal, so that it can be tried with anything:
//! [`understand`], [`price_list`], [`life_records`].

mod commands;
mod desk;
mod progress;
mod show;
mod surroundings;
mod talk;
mod trouble;

use std::ffi::OsString;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{ColorChoice, CommandFactory, Parser, Subcommand};
use store::Place;

use crate::desk::Desk;
use crate::talk::{Manner, Talk, complain, harmless};
use crate::trouble::{Done, EXIT_HELP, Exit, Trouble};

/// What `--store` takes.
const STORE_HELP: &str = "Folder of the record, or postgres://USER@localhost/DATABASE for one that several shops share \
    [default: witnessmark in the data folder of the person]";

/// Turns what a technician measures, sees and hears on an engine into the best decision, and keeps the proof.
#[derive(Debug, Parser)]
#[command(name = "witnessmark", version, after_help = EXIT_HELP, color = ColorChoice::Never, arg_required_else_help = true, max_term_width = 100)]
struct Cli {
    /// Answers as JSON on standard output.
    #[arg(long, global = true)]
    json: bool,
    /// One line an item, not broken, no colour.
    #[arg(long, global = true)]
    plain: bool,
    /// No talk on standard error but complaints.
    #[arg(long, short, global = true)]
    quiet: bool,
    /// Never ask anything (nothing but the passphrase of a backup is ever asked for).
    #[arg(long, global = true)]
    no_input: bool,
    /// No colour.
    #[arg(long, global = true)]
    no_color: bool,
    /// Where the record lies.
    #[arg(long, global = true, value_name = "PLACE", help = STORE_HELP)]
    store: Option<OsString>,
    /// The shop's own knowledge folder [default: `knowledge` in the folder of the record, else what is built in].
    #[arg(long, global = true, value_name = "DIR")]
    knowledge: Option<PathBuf>,
    #[command(subcommand)]
    command: Command,
}

/// The help of one command, for one that has its own use for `--help`.
fn help_of(command: &str) -> String {
    let mut whole = Cli::command();
    whole.build();
    whole.find_subcommand_mut(command).map_or_else(String::new, |found| found.render_help().to_string())
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Loads the invented jobs, prints their work-ups, writes their papers and opens the bench.
    Demo(commands::demo::Demo),
    /// Findings, beliefs, advice and options of a job.
    Workup(commands::workup::Workup),
    /// Lists the jobs.
    Jobs(commands::jobs::Jobs),
    /// Lists the gauges of the shop, with the open jobs that lean on each.
    Gauges(commands::gauges::Gauges),
    /// Opens a job.
    New(Box<commands::new::New>),
    /// Enters a reading and says how the advice moved.
    Enter(commands::enter::Enter),
    /// Takes an entry back; it stays in the record.
    Withdraw(commands::amend::Withdraw),
    /// Puts an entry right; both stay in the record.
    Correct(commands::amend::Correct),
    /// Writes a note.
    Note(commands::tell::Note),
    /// Lists the bags of small parts, with what became of each.
    Bags(commands::bag::Bags),
    /// Puts small parts into a numbered bag.
    Bag(Box<commands::bag::Fill>),
    /// Says what became of a bag when it was asked back.
    BagEmptied(commands::bag::Empty),
    /// Enters anything else, with its body as JSON.
    Tell(commands::tell::Tell),
    /// Quotes of a job side by side; in from a price list, out as a table.
    Quotes(commands::quotes::Quotes),
    /// Takes machine work back by the code on its paper.
    #[command(name = "machine-work-returned")]
    MachineBack(commands::machine::MachineBack),
    /// The engine's own figures: out of a job, or into one.
    Sheet(commands::sheet::Sheet),
    /// Writes the papers of a job as PDF.
    Papers(commands::papers::Papers),
    /// Makes the page that a customer answers, as one file.
    Page(Box<commands::page::Page>),
    /// Keeps the answer to a customer page, by its code.
    Answer(commands::page::Answer),
    /// Opens the bench in a browser on this machine.
    Serve(commands::serve::Serve),
    /// The bench on the shop's own network: turn it on, pair phones and tablets, remove one.
    Lan(commands::lan::LanCommand),
    /// Writes the whole record with its photos as plain files, or logbooks alone as JSON Lines.
    Export(commands::carry::Export),
    /// Takes in an exported record with its photos, or a logbook from JSON Lines.
    Import(commands::carry::Import),
    /// Copies the whole record into one file that only a passphrase opens.
    Backup(commands::backup::Backup),
    /// Brings a record back from a backup, or proves that one would come back.
    Restore(commands::backup::Restore),
    /// Says whether a logbook is as it was written.
    Verify(commands::verify::Verify),
    /// The network of a job, and exact answers from any network in the open BIF form.
    Network(commands::network::Network),
    /// Who the shop is and how it reckons; lays its file ready.
    Shop(commands::shop::ShopCommand),
    /// The knowledge of the trade with its sources.
    Knowledge(commands::knowledge::KnowledgeCommand),
    /// Bench calculators; without a name, lists them.
    Calc(commands::calc::Calc),
    /// How long a part lasts, from records; how far a vehicle has truly gone.
    Life(commands::life::Life),
    /// How good the advice is, tried on drawn engines.
    Simulate(commands::simulate::Simulate),
    /// What the shop's own finished jobs say beside the book; taken up, or taken back.
    Learn(commands::learn::Learn),
}

/// Does what the words of this process ask for, and gives its exit code.
#[must_use]
pub fn main() -> ExitCode {
    let exit = match Cli::try_parse() {
        Ok(cli) => run(cli),
        Err(error) => misread(&error),
    };
    let exit = match exit {
        Ok(exit) => exit,
        Err(trouble) => {
            if let Some(line) = trouble.line() {
                complain(&line);
            }
            trouble.exit()
        }
    };
    ExitCode::from(exit as u8)
}

/// Gives what some words ask for, without doing it; the first of them is the name of the program.
///
/// # Errors
/// The line that is said, where they are no command.
pub fn understand(words: &[OsString]) -> Result<String, String> {
    let asked = Cli::try_parse_from(words).map_err(|error| {
        let helps = matches!(
            error.kind(),
            ErrorKind::DisplayHelp | ErrorKind::DisplayVersion | ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
        );
        if helps {
            return harmless(&error.to_string());
        }
        harmless(&misread(&error).err().and_then(|trouble| trouble.line()).unwrap_or_else(|| error.to_string()))
    })?;
    let store = asked.store.as_deref().map(Place::read).transpose().map_err(|why| harmless(&why.to_string()))?;
    Ok(format!("{:?} of {store:?}", asked.command))
}

/// Gives the quotes of a price list whose columns say whose, for what, at what price and in how many days.
///
/// # Errors
/// What is wrong in it, with its line and the next move.
pub fn price_list(text: &str, knowledge: &knowledge::Knowledge) -> Result<Vec<logbook::QuoteReceived>, String> {
    commands::quotes::listed(text, knowledge)
}

/// Gives quotes as a table that [`price_list`] reads.
///
/// # Errors
/// When a row cannot be written.
pub fn price_table(quotes: &[logbook::QuoteReceived]) -> Result<Vec<u8>, String> {
    workup::price_list::table(quotes).map_err(|error| error.to_string())
}

/// Gives the records of lives in a CSV text.
///
/// # Errors
/// The line that is said, with the line of the text and the next move.
pub fn life_records(text: &str) -> Result<Vec<inference::life::Record>, String> {
    commands::life::records(text, "read the records").map_err(|trouble| trouble.line().unwrap_or_default())
}

/// Help and version are results; everything else is one line on standard error.
fn misread(error: &clap::Error) -> Done {
    let kind = error.kind();
    if matches!(kind, ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) {
        write!(std::io::stdout().lock(), "{error}")?;
        return Ok(Exit::Fine);
    }
    if kind == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        complain(error.to_string().trim_end());
        return Err(Trouble::Silent(Exit::Usage));
    }
    let text = error.to_string();
    let said: Vec<&str> = text
        .lines()
        .map(str::trim)
        .take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more information"))
        .filter(|line| !line.is_empty())
        .collect();
    let said = said.join(" ");
    let said = said.strip_prefix("error: ").unwrap_or(&said);
    Err(Trouble::new(Exit::Usage, "understand the command", format!("{said}; see `witnessmark --help`")))
}

fn run(cli: Cli) -> Done {
    let manner =
        Manner { json: cli.json, plain: cli.plain, quiet: cli.quiet, no_colour: cli.no_color, no_input: cli.no_input };
    let store = match cli.store {
        // The text is not repeated: there may be a password in it.
        Some(typed) => {
            Place::read(&typed).map_err(|why| Trouble::new(Exit::Usage, "understand the address of --store", why))?
        }
        None => Place::Folder(surroundings::default_store()),
    };
    let desk = Desk { talk: Talk::new(manner), store, knowledge: cli.knowledge };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| Trouble::file("start", &error))?;
    let done = runtime.block_on(async {
        match cli.command {
            Command::Demo(c) => c.run(&desk).await,
            Command::Workup(c) => c.run(&desk).await,
            Command::Jobs(c) => c.run(&desk).await,
            Command::Gauges(c) => c.run(&desk).await,
            Command::New(c) => c.run(&desk).await,
            Command::Enter(c) => c.run(&desk).await,
            Command::Withdraw(c) => c.run(&desk).await,
            Command::Correct(c) => c.run(&desk).await,
            Command::Note(c) => c.run(&desk).await,
            Command::Bags(c) => c.run(&desk).await,
            Command::Bag(c) => c.run(&desk).await,
            Command::BagEmptied(c) => c.run(&desk).await,
            Command::Tell(c) => c.run(&desk).await,
            Command::Quotes(c) => c.run(&desk).await,
            Command::MachineBack(c) => c.run(&desk).await,
            Command::Sheet(c) => c.run(&desk).await,
            Command::Papers(c) => c.run(&desk).await,
            Command::Page(c) => c.run(&desk).await,
            Command::Answer(c) => c.run(&desk).await,
            Command::Serve(c) => c.run(&desk).await,
            Command::Lan(c) => c.run(&desk),
            Command::Export(c) => c.run(&desk).await,
            Command::Import(c) => c.run(&desk).await,
            Command::Backup(c) => c.run(&desk).await,
            Command::Restore(c) => c.run(&desk).await,
            Command::Verify(c) => c.run(&desk).await,
            Command::Network(c) => c.run(&desk).await,
            Command::Shop(c) => c.run(&desk).await,
            Command::Knowledge(c) => c.run(&desk),
            Command::Calc(c) => c.run(&desk),
            Command::Life(c) => c.run(&desk),
            Command::Simulate(c) => c.run(&desk).await,
            Command::Learn(c) => c.run(&desk).await,
        }
    });
    // A work-up that nobody waits for any more does not hold up the end.
    runtime.shutdown_background();
    done
}
