//! `serve`: the bench in a browser on this machine.

use std::sync::Arc;

use clap::Args;
use knowledge::Knowledge;
use server::{Bench, bind};
use store::{Place, Record};

use crate::desk::Desk;
use crate::surroundings;
use crate::trouble::{Done, Exit, Trouble};

/// The port where nobody names one \[ours\].
pub(crate) const PORT: u16 = 4177;

/// Opens the bench in a browser on this machine.
#[derive(Debug, Args)]
pub(crate) struct Serve {
    /// The port; 0 takes any free one.
    #[arg(long, default_value_t = PORT)]
    port: u16,
}

impl Serve {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        let knowledge = desk.knowledge()?;
        open(desk, &desk.store, knowledge, self.port).await
    }
}

/// Serves a record until Ctrl-C.
pub(crate) async fn open(desk: &Desk, record: &Place, knowledge: Knowledge, port: u16) -> Done {
    let store = Record::open(record).await?;
    let listener = bind(port).await.map_err(|e| Trouble::new(Exit::Conflict, "open the bench", e))?;
    let address = listener.local_addr().map_err(|e| Trouble::file("open the bench", &e))?;
    let t = &desk.talk;
    if t.json() {
        t.answer(&serde_json::json!({"bench": format!("http://{address}/"), "store": record.name()}))?;
    } else {
        t.line(&format!("The bench is open at http://{address}/ for browsers on this machine; Ctrl-C closes it."), 0)?;
    }
    let bench = Bench::new(store, Arc::new(knowledge), surroundings::person());
    let interrupted = async {
        // Where the signal cannot be listened for, the system ends the program as it always did.
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    server::serve(bench, listener, interrupted).await.map_err(|e| Trouble::new(Exit::Problem, "serve the bench", e))?;
    Ok(Exit::Fine)
}
