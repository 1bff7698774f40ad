//! `shop`: who the shop is, how it reckons, and a file to write that down in.

use clap::{Args, Subcommand};
use knowledge::Shop;
use knowledge::shop::SHOP_TO_FILL_IN;
use serde_json::json;
use store::Record;

use crate::desk::{Desk, write_file};
use crate::trouble::{Done, Exit, Trouble};

/// Shows who the shop is and how it reckons, or lays a file ready to write that down in.
#[derive(Debug, Args)]
pub(crate) struct ShopCommand {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// What the papers and new jobs take from the shop's file (the same as no word).
    Show,
    /// Writes a file to fill in: shop/shop.toml in the shop's own knowledge folder.
    Write {
        /// Writes over a file that is there.
        #[arg(long)]
        force: bool,
    },
}

impl ShopCommand {
    pub(crate) async fn run(self, desk: &Desk) -> Done {
        match self.what {
            None | Some(What::Show) => show(desk),
            Some(What::Write { force }) => write(desk, force).await,
        }
    }
}

fn show(desk: &Desk) -> Done {
    let knowledge = desk.knowledge()?;
    let t = &desk.talk;
    if t.json() {
        t.answer(&json!({"shop": knowledge.shop}))?;
        return Ok(Exit::Fine);
    }
    let Some(shop) = &knowledge.shop else {
        t.say("no shop is told; `witnessmark shop write` lays a file ready to fill in");
        return Ok(Exit::Fine);
    };
    for (name, says) in rows(shop) {
        t.line(&format!("{name}: {says}"), 2)?;
    }
    Ok(Exit::Fine)
}

fn rows(shop: &Shop) -> Vec<(&'static str, String)> {
    let mut out = vec![("name", shop.name.clone())];
    out.push(("address", shop.address.join(", ")));
    out.push(("reach", shop.reach.join(", ")));
    out.push(("registration", shop.registration.join(", ")));
    out.push(("price of a billed hour", shop.labour_rate.map(|rate| rate.to_string()).unwrap_or_default()));
    out.push(("added on parts, per cent", shop.parts_markup_percent.clone().unwrap_or_default()));
    if let Some(tax) = &shop.tax {
        let on: Vec<&str> = tax.on.iter().map(|charge| charge.word()).collect();
        let on = if on.is_empty() { "everything".to_owned() } else { on.join(", ") };
        let how = [tax.prices.word(), tax.by.word(), tax.rounding.word()].map(|word| word.replace('-', " "));
        let [prices, by, rounding] = how;
        out.push((
            "tax",
            format!("{} {} %, prices {prices}, on {on}, rounded {rounding} on the {by}", tax.name, tax.percent),
        ));
    }
    out.push(("an estimate holds, days", shop.estimate_days.map(|days| days.to_string()).unwrap_or_default()));
    out.push(("payment", shop.payment.clone().unwrap_or_default()));
    for (name, words) in [
        ("on estimates", &shop.words.estimate),
        ("on orders", &shop.words.order),
        ("on invoices", &shop.words.invoice),
        ("at hand-back", &shop.words.hand_back),
    ] {
        out.push((name, words.join(" ")));
    }
    out.retain(|(_, says)| !says.is_empty());
    out
}

/// A record on a server has no folder for the file, so `--knowledge` names one there.
async fn write(desk: &Desk, force: bool) -> Done {
    let beside = || desk.store.folder().map(|folder| folder.join("knowledge"));
    let Some(root) = desk.knowledge.clone().or_else(beside) else {
        let why =
            "a record on a server has no folder for it; name the shop's own knowledge folder with --knowledge DIR";
        return Err(Trouble::new(Exit::Usage, "lay the shop's file ready", why));
    };
    if desk.knowledge.is_none() {
        // A folder beside no record would never be read.
        Record::open(&desk.store).await?.close().await;
    }
    let folder = root.join("shop");
    std::fs::create_dir_all(&folder)
        .map_err(|error| Trouble::file(format!("make the folder {}", folder.display()), &error))?;
    let path = folder.join("shop.toml");
    write_file(&path, SHOP_TO_FILL_IN.as_bytes(), force)?;
    let t = &desk.talk;
    if t.json() {
        t.answer(&json!({"file": path.display().to_string()}))?;
    } else {
        t.line(&format!("{}: fill it in; `witnessmark shop` shows what counts", path.display()), 2)?;
    }
    Ok(Exit::Fine)
}
