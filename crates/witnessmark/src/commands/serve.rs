//! `serve`: the bench in a browser on this machine, until it is told to stop.

use std::sync::Arc;
use std::time::Duration;

use clap::{Args, ValueEnum};
use knowledge::Knowledge;
use server::lan::{Lan, Listening};
use server::{Bench, Event, Stopped, bind};
use store::{Place, Record};

use crate::desk::{Desk, lan_of};
use crate::surroundings;
use crate::talk::{Talk, complain};
use crate::trouble::{Done, Exit, Trouble};

/// The port where nobody names one \[ours\].
pub(crate) const PORT: u16 = 4177;
/// After how many days the bench warns of an old backup where nobody says otherwise \[ours\]: a week of work is the most that
/// anybody would type in again.
const BACKUP_DAYS: u32 = 7;
/// How long closing the record may take \[ours\]; everything kept is on the disk before it begins.
const CLOSING: Duration = Duration::from_secs(5);

/// Opens the bench in a browser on this machine.
#[derive(Debug, Args)]
pub(crate) struct Serve {
    /// The port; 0 takes any free one.
    #[arg(long, default_value_t = PORT)]
    port: u16,
    /// After how many days without a backup the list of jobs warns; 0 never does, nor for a record on a server.
    #[arg(long, value_name = "DAYS", default_value_t = BACKUP_DAYS)]
    backup_days: u32,
    /// Writes one line for each request and for closing to standard error, without names or what was typed.
    #[arg(long, value_name = "FORM")]
    log: Option<LogForm>,
}

/// The forms of a log.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum LogForm {
    /// JSON, one object a line.
    Json,
}

/// What a bench is to do besides answering.
#[derive(Debug, Default)]
pub(crate) struct Service {
    /// After how many days it warns of an old backup; nothing: backups are not minded.
    backup_days: Option<u32>,
    log: Option<LogForm>,
}

impl Serve {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        let service = Service { backup_days: Some(self.backup_days), log: self.log };
        open(desk, &desk.store, knowledge, self.port, &service).await
    }
}

/// Where paired devices reach the bench, and what cannot be listened on yet.
fn on_network(t: &Talk, lan: &Lan, network: &Listening) -> Result<(), Trouble> {
    if let Ok(Some(standing)) = lan.standing().map(|s| s.filter(|_| !network.open_at().is_empty())) {
        let port = standing.settings.port;
        let ways: Vec<String> = standing.reached_at().iter().map(|way| format!("https://{way}:{port}/")).collect();
        t.line(&format!("Paired devices reach it at {}.", ways.join(" or ")), 2)?;
    }
    for why in network.not_yet() {
        t.say(&format!("witnessmark: {why}; it is tried again every half minute"));
    }
    Ok(())
}

/// Serves a record until Ctrl-C, or until the system ends the program.
pub(crate) async fn open(desk: &Desk, record: &Place, knowledge: Knowledge, port: u16, service: &Service) -> Done {
    let store = Record::open(record).await?;
    let listener = bind(port).await.map_err(|e| Trouble::new(Exit::Conflict, "open the bench", e))?;
    let address = listener.local_addr().map_err(|e| Trouble::file("open the bench", &e))?;
    let lan = lan_of(record);
    // Whatever is wrong with the network, the bench on this machine opens.
    let network = server::lan::listen(&lan).await.unwrap_or_else(|why| {
        complain(&format!("witnessmark: the bench is on this machine only: {why}"));
        None
    });
    // Listened for before anybody is told that the bench is open.
    let told_to_stop = surroundings::told_to_stop();
    let t = &desk.talk;
    if t.json() {
        let open_at = network.as_ref().map(|n| n.open_at().to_vec());
        t.answer(
            &serde_json::json!({"bench": format!("http://{address}/"), "store": record.name(), "network": open_at}),
        )?;
    } else {
        t.line(&format!("The bench is open at http://{address}/ for browsers on this machine; Ctrl-C closes it."), 0)?;
        if let Some(network) = &network {
            on_network(t, &lan, network)?;
        }
    }
    let mut bench = Bench::new(store.clone(), Arc::new(knowledge), surroundings::person()).knowing_devices(lan);
    // Backups are noted in the folder of a record; one on a server has none, and its backups are minded where they are made.
    if let (Some(days), Some(folder)) = (service.backup_days, record.folder()) {
        bench = bench.minding_backups(folder, days);
    }
    if let Some(LogForm::Json) = service.log {
        bench = bench.heard_by(|event| complain(&event.line()));
    }
    let stopped = server::serve(bench, listener, network, told_to_stop).await;
    // A request that was broken off may still hold a connection; what it has not kept it has not promised.
    let _in_time = tokio::time::timeout(CLOSING, store.close()).await;
    let stopped = stopped.map_err(|e| Trouble::new(Exit::Problem, "serve the bench", e))?;
    let broken_off = stopped == Stopped::BrokenOff;
    if let Some(LogForm::Json) = service.log {
        complain(&Event::Closed { broken_off }.line());
    } else {
        let rest =
            if broken_off { "; a request that took too long was broken off, look whether it was kept" } else { "" };
        t.say(&format!("The bench is closed; everything kept is on the disk{rest}."));
    }
    Ok(Exit::Fine)
}
