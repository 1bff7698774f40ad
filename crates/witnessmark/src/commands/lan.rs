//! `lan`: the bench on the shop's own network, its devices, and which of them are let in.

use std::net::IpAddr;
use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};
use serde_json::json;
use server::lan::{
    DeviceLine, Lan, LanError, LanStanding, NewDevice, PAIRING_PORT, PORT, Role, Settings, Waiting, qr_in_text,
};

use crate::desk::{Desk, write_file};
use crate::show::count;
use crate::surroundings::{self, minute_of};
use crate::trouble::{Done, Exit, Trouble};

/// The bench on the shop's own network; off until it is turned on here.
#[derive(Debug, Args)]
pub(crate) struct LanCommand {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Turns it on: makes an authority of the shop's own; `serve` listens on the network from its next start on.
    On(On),
    /// Turns it off, at once; authority and devices stay for the next time.
    Off,
    /// Shows how it stands: where the bench is reached, the fingerprint of its authority, the devices.
    Show,
    /// Offers to pair a device: a picture for its camera and a code to type, good once and for ten minutes.
    Pair(Pair),
    /// Lets the device in whose screen shows this number.
    Match {
        /// The four digits on the screen of the device.
        number: String,
    },
    /// Sends the waiting devices away: their numbers are not those that they should show.
    Refuse,
    /// Removes a device; its session ends at once.
    Remove {
        /// Its name or its id.
        device: String,
    },
    /// Writes the certificate of the authority, which devices are told to trust.
    Authority {
        /// The file.
        #[arg(long, value_name = "FILE")]
        out: PathBuf,
        /// Writes over what is there.
        #[arg(long)]
        force: bool,
    },
}

#[derive(Debug, Args)]
struct On {
    /// What this computer is called on the network, one word; it is reached as NAME.home.arpa and NAME.local too.
    #[arg(long)]
    name: String,
    /// An address of this computer; several may be named [default: the one it has, found anew at each start].
    #[arg(long, value_name = "IP")]
    address: Vec<IpAddr>,
    /// The port of the bench, encrypted.
    #[arg(long, default_value_t = PORT)]
    port: u16,
    /// The port of the page that says how to pair, not encrypted.
    #[arg(long, value_name = "PORT", default_value_t = PAIRING_PORT, conflicts_with = "no_pairing_page")]
    pairing_port: u16,
    /// No such page; the certificate is carried to the devices in another way.
    #[arg(long)]
    no_pairing_page: bool,
    /// Makes a new authority; every device trusts and pairs anew.
    #[arg(long)]
    new_authority: bool,
}

#[derive(Debug, Args)]
struct Pair {
    /// What the device is called in the list.
    name: String,
    /// What it is for.
    #[arg(long)]
    role: Part,
    /// Who works with it, and signs.
    #[arg(long, value_name = "NAME")]
    person: String,
    /// The name or address that it reaches this computer at [default: the first address].
    #[arg(long, value_name = "HOST")]
    reach: Option<String>,
}

/// The roles.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Part {
    /// Whatever is done to the engine; no money and no yes of a customer.
    Technician,
    /// Every job, money and customers.
    Counter,
    /// Everything, the list of devices too.
    Owner,
}

impl From<Part> for Role {
    fn from(part: Part) -> Self {
        match part {
            Part::Technician => Role::Technician,
            Part::Counter => Role::Counter,
            Part::Owner => Role::Owner,
        }
    }
}

/// The exit code of a network that is not as wanted.
fn trouble(doing: &str, error: LanError) -> Trouble {
    let exit = match &error {
        LanError::System { why, .. } => crate::trouble::of_io(why).0,
        LanError::Spoiled { .. } | LanError::Certificate(_) => Exit::Storage,
        LanError::Name(_) | LanError::Named(_) | LanError::Reach { .. } | LanError::Ports(_) => Exit::Usage,
        LanError::Address(_) | LanError::OtherName { .. } | LanError::Off => Exit::Refused,
        LanError::NoAddress | LanError::NoDevice(_) | LanError::NoNumber(_) => Exit::NotFound,
        LanError::Port { .. } => Exit::Conflict,
        _ => Exit::Problem,
    };
    Trouble::new(exit, doing, error)
}

impl LanCommand {
    pub(crate) fn run(self, desk: &Desk) -> Done {
        let lan = desk.lan();
        match self.what {
            What::On(on) => on.run(desk, &lan),
            What::Off => {
                lan.turn_off().map_err(|e| trouble("turn the network off", e))?;
                said(
                    desk,
                    &json!({"on": false}),
                    "The bench is on this computer only; devices stay paired for the next time.",
                )
            }
            What::Show => show(desk, &lan),
            What::Pair(pair) => pair.run(desk, &lan),
            What::Match { number } => let_in(desk, &lan, &number),
            What::Refuse => refuse(desk, &lan),
            What::Remove { device } => {
                let gone = lan.remove(&device).map_err(|e| trouble("remove the device", e))?;
                let words = format!("{} of {} gets in no more.", gone.name, gone.person);
                said(desk, &json!({"removed": gone}), &words)
            }
            What::Authority { out, force } => {
                let doing = "write the certificate of the authority";
                let der = lan.authority_certificate().map_err(|e| trouble(doing, e))?;
                let der = der.ok_or_else(|| trouble(doing, LanError::Off))?;
                write_file(&out, &der, force)?;
                said(desk, &json!({"file": out.display().to_string()}), &format!("written: {}", out.display()))
            }
        }
    }
}

fn said(desk: &Desk, json: &serde_json::Value, words: &str) -> Done {
    if desk.talk.json() {
        desk.talk.answer(json)?;
    } else {
        desk.talk.line(words, 0)?;
    }
    Ok(Exit::Fine)
}

impl On {
    fn run(self, desk: &Desk, lan: &Lan) -> Done {
        let wanted = Settings {
            on: true,
            name: self.name,
            addresses: self.address,
            port: self.port,
            pairing_port: (!self.no_pairing_page).then_some(self.pairing_port),
        };
        let standing = lan.turn_on(&wanted, self.new_authority).map_err(|e| trouble("turn the network on", e))?;
        if desk.talk.json() {
            desk.talk.answer(&standing)?;
        } else {
            known(desk, &standing)?;
            desk.talk.say("Start the bench again with `witnessmark serve`, and let the firewall of this computer pass these ports.");
        }
        Ok(Exit::Fine)
    }
}

/// Where the bench is reached and how it is known.
fn known(desk: &Desk, standing: &LanStanding) -> Result<(), Trouble> {
    let t = &desk.talk;
    t.line("The bench is on the shop's own network, for devices that are paired:", 0)?;
    for way in standing.reached_at() {
        t.line(&format!("  https://{way}:{}/", standing.settings.port), 2)?;
    }
    if let Some(port) = standing.settings.pairing_port {
        t.line(&format!("How a device is paired: http://{}:{port}/", standing.surest()), 2)?;
    }
    t.line("Fingerprint of its authority (SHA-256), to be compared on each device:", 0)?;
    let pairs: Vec<&str> = standing.fingerprint.split(':').collect();
    for line in pairs.chunks(16) {
        t.line(&format!("  {}", line.join(":")), 2)?;
    }
    let until = surroundings::day_of(standing.certificate_until);
    t.line(&format!("Its certificate holds until {until} and is made anew by itself thirty days before."), 0)?;
    Ok(())
}

fn show(desk: &Desk, lan: &Lan) -> Done {
    let doing = "show the network";
    let standing = lan.standing().map_err(|e| trouble(doing, e))?;
    let devices = lan.devices().map_err(|e| trouble(doing, e))?;
    let waiting = lan.waiting().map_err(|e| trouble(doing, e))?;
    let t = &desk.talk;
    if t.json() {
        t.answer(&json!({"network": standing, "devices": devices, "waiting": waiting}))?;
        return Ok(Exit::Fine);
    }
    match standing.filter(|s| s.settings.on) {
        Some(standing) => known(desk, &standing)?,
        None => {
            t.line("The bench is on this computer only; `witnessmark lan on --name NAME` turns the network on.", 0)?
        }
    }
    for one in &waiting {
        t.line(&waits(one), 2)?;
    }
    t.line(&count(devices.len(), "device paired", "devices paired"), 0)?;
    for device in &devices {
        t.line(&line(device), 4)?;
    }
    Ok(Exit::Fine)
}

fn waits(one: &Waiting) -> String {
    let beware = if one.another_tried { "; a second device tried the same code" } else { "" };
    format!("{} waits to be let in, for {} as {}: number {}{beware}", one.name, one.person, one.role.word(), one.number)
}

fn line(device: &DeviceLine) -> String {
    let seen = device.seen.map_or_else(|| "not seen yet".to_owned(), |at| format!("last seen {}", minute_of(at)));
    let locked = if device.locked { ", asks for its PIN" } else { "" };
    format!("  {}  {}, {}, {seen}{locked}", device.name, device.person, device.role.word())
}

impl Pair {
    fn run(self, desk: &Desk, lan: &Lan) -> Done {
        let device = NewDevice { name: self.name, person: self.person, role: self.role.into(), reach: self.reach };
        let offered = lan.offer(&device).map_err(|e| trouble("offer to pair a device", e))?;
        let t = &desk.talk;
        if t.json() {
            t.answer(&json!({"offer": offered.id, "open": offered.url, "code": offered.code, "until": offered.until}))?;
            return Ok(Exit::Fine);
        }
        if surroundings::on_terminal() {
            for line in qr_in_text(&offered.url) {
                t.bytes(format!("{line}\n").as_bytes())?;
            }
        }
        let typed = offered.url.split('#').next().unwrap_or_default();
        t.line(&format!("Open on the device: {}", offered.url), 2)?;
        t.line(&format!("or open {typed} and type {}", offered.code), 2)?;
        t.line(
            &format!(
                "Once, and until {}. Then `witnessmark lan match NUMBER` with the four digits that the device shows.",
                minute_of(offered.until)
            ),
            2,
        )?;
        Ok(Exit::Fine)
    }
}

fn let_in(desk: &Desk, lan: &Lan, number: &str) -> Done {
    let doing = "let the device in";
    let waiting = lan.waiting().map_err(|e| trouble(doing, e))?;
    let fits: Vec<&Waiting> = waiting.iter().filter(|w| w.number == number.trim()).collect();
    let [one] = fits.as_slice() else {
        return Err(trouble(doing, LanError::NoNumber(number.to_owned())));
    };
    lan.answer(&one.id, true).map_err(|e| trouble(doing, e))?;
    let beware = if one.another_tried { "; a second device tried the same code and got nothing" } else { "" };
    let words = format!("{} is paired, for {} as {}{beware}.", one.name, one.person, one.role.word());
    said(desk, &json!({"paired": one.name, "role": one.role}), &words)
}

fn refuse(desk: &Desk, lan: &Lan) -> Done {
    let doing = "send the waiting devices away";
    let waiting = lan.waiting().map_err(|e| trouble(doing, e))?;
    for one in &waiting {
        lan.answer(&one.id, false).map_err(|e| trouble(doing, e))?;
    }
    let words = match waiting.len() {
        0 => "No device waits.".to_owned(),
        n => format!("{} sent away.", count(n, "device", "devices")),
    };
    said(desk, &json!({"sent_away": waiting.len()}), &words)
}
