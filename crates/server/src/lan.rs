//! The bench on the shop's own network: off until the owner turns it on, under an authority of the shop's own, for devices
//! that were paired at the computer of the bench.
//!
//! What it needs lies in a folder of its own beside the record, readable by its owner only, and is carried by no backup and no
//! export: keys that leave a machine are keys that somebody else may hold.
//!
//! ```text
//! network/
//!   network.json     whether it is on, the name, the addresses, the ports
//!   authority.json   the authority's certificate and key
//!   server.json      the certificate that the bench shows, and its key; made anew before it runs out
//!   devices.json     offers to pair and paired devices: hashes of their keys and PINs, no key and no PIN
//!   lock             held for the moment of a change, by the bench or by the command line
//! ```
//!
//! Modules in reading order: `folder` (files of the owner only), `authority` (certificates), `devices` (offers, devices,
//! sessions, without clock or disk), `pin`, `roles` (who may do what), `tls` (listening), `gate` (what a request passes),
//! `pairing` (pages of a device), `here` (pages of the computer itself), `plain` (the page that says how to pair).

mod authority;
mod devices;
mod folder;
mod gate;
mod here;
mod pairing;
mod pin;
mod plain;
mod qr;
pub(crate) mod roles;
pub(crate) mod tls;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU16, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use thiserror::Error;
use tokio::sync::Semaphore;

pub(crate) use devices::Asker;
pub use devices::{DeviceLine, NewDevice, NotPaired, Waiting};
pub(crate) use here::routes as pages_here;
pub use qr::in_text as qr_in_text;
pub use roles::{Role, routes as role_table};
pub use tls::{Listening, listen};

use crate::log::{Event, Hearer};
use crate::surroundings;
use authority::Authority;
use devices::{Book, Shown};
use folder::Folder;

/// The port of the bench on the network where nobody names one \[ours\].
pub const PORT: u16 = 4178;
/// The port of the page that says how to pair where nobody names one \[ours\].
pub const PAIRING_PORT: u16 = 4179;
/// How many tries to pair one address has in [`devices::OFFERED`] \[ours\].
const TRIES: u32 = 10;
/// How many tries to pair all addresses have together in that time \[ours\]: with forty bits in a typed code, the chance to
/// hit one offer is below one in ten thousand million.
const TRIES_OF_ALL: u32 = 100;

/// Why the network of the shop is not as wanted.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum LanError {
    /// A file cannot be read or written.
    #[error("{}: {why}; check the disk and who may write there", path.display())]
    System {
        /// The file or folder.
        path: PathBuf,
        /// What the system says.
        why: std::io::Error,
    },
    /// A file is not in its form.
    #[error("{} is not in its form ({why}); turn the network off, move the folder aside and turn it on again: devices are then paired anew", path.display())]
    Spoiled {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The name is none.
    #[error(
        "`{0}` is no name for this computer; take one word of small letters, digits and hyphens, as `bench` or `shop-2`"
    )]
    Name(String),
    /// An address is not one of a private network.
    #[error(
        "{0} is no address of a private network (10.…, 172.16.… to 172.31.…, 192.168.…, 169.254.…, fc00:… to fdff:…, fe80:…); the bench is for the shop's own network and never for the open one"
    )]
    Address(IpAddr),
    /// No address was found.
    #[error("this computer has no address on a network now; connect it, or name one with --address")]
    NoAddress,
    /// The authority is for another name.
    #[error(
        "the authority of this bench is for `{there}` and answers for no other name; keep that name, or say --new-authority, after which every phone trusts and pairs anew"
    )]
    OtherName {
        /// The name it is for.
        there: String,
    },
    /// The network is off.
    #[error("the bench is not on the network; `witnessmark lan on --name NAME` turns it on")]
    Off,
    /// Two ports are one.
    #[error("the bench and the page that says how to pair cannot have the same port, {0}; name two")]
    Ports(u16),
    /// A certificate cannot be made.
    #[error("a certificate cannot be made: {0}; look whether the clock of this computer is right")]
    Certificate(String),
    /// A port cannot be had.
    #[error("cannot listen on {at}: {why}; choose another port or address, or end what uses this one")]
    Port {
        /// Address and port.
        at: SocketAddr,
        /// What the system said.
        why: std::io::Error,
    },
    /// A field of a new device says nothing.
    #[error("{0}; type it, up to 40 letters")]
    Named(&'static str),
    /// A way to reach the bench is none of those it has.
    #[error("the bench is not reached at `{asked}`; it is at {there}")]
    Reach {
        /// What was asked for.
        asked: String,
        /// What there is.
        there: String,
    },
    /// No device has this id.
    #[error("no device paired is called `{0}`; `witnessmark lan show` lists them")]
    NoDevice(String),
    /// No device waits with this number.
    #[error(
        "no device waits with the number {0}; look at its screen again, and pair it anew when more than ten minutes went by"
    )]
    NoNumber(String),
}

/// What the owner turned on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Whether the bench is on the network.
    pub on: bool,
    /// What this computer is called there, one word.
    pub name: String,
    /// The addresses that the owner named; none: the one that this computer has is found anew at each start.
    pub addresses: Vec<IpAddr>,
    /// The port.
    pub port: u16,
    /// The port of the page that says how to pair; none: there is no such page.
    pub pairing_port: Option<u16>,
}

impl Settings {
    /// Gives the two names under which the bench is known (RFC 8375, RFC 6762).
    #[must_use]
    pub fn names(&self) -> [String; 2] {
        [format!("{}.home.arpa", self.name), format!("{}.local", self.name)]
    }
}

/// How the network stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LanStanding {
    /// What was turned on.
    pub settings: Settings,
    /// The addresses that this computer answers at.
    pub addresses: Vec<IpAddr>,
    /// SHA-256 of the authority's certificate, in pairs of digits.
    pub fingerprint: String,
    /// Until when the authority holds.
    pub authority_until: Timestamp,
    /// Until when the certificate holds that the bench shows.
    pub certificate_until: Timestamp,
}

impl LanStanding {
    /// Gives every way to reach the bench, names first.
    #[must_use]
    pub fn reached_at(&self) -> Vec<String> {
        let addresses = self.addresses.iter().map(in_an_address);
        self.settings.names().into_iter().chain(addresses).collect()
    }

    /// Gives the way that works without anything else being set up: the first address.
    #[must_use]
    pub fn surest(&self) -> String {
        self.addresses.first().map_or_else(|| self.settings.names()[1].clone(), in_an_address)
    }
}

/// An address as it stands in a web address.
fn in_an_address(address: &IpAddr) -> String {
    match address {
        IpAddr::V4(v4) => v4.to_string(),
        IpAddr::V6(v6) => format!("[{v6}]"),
    }
}

/// An offer that was just made; the only thing that ever holds its secret.
#[derive(Debug, Clone)]
pub struct Offered {
    /// Its id.
    pub id: String,
    /// The address that the device opens, the secret behind `#`.
    pub url: String,
    /// What is typed where no picture can be read.
    pub code: String,
    /// Until when.
    pub until: Timestamp,
}

/// Asks what time it is.
type Clock = dyn Fn() -> Timestamp + Send + Sync;

/// The network of the shop, as its folder says it stands; copies are handles to the same.
#[derive(Clone)]
pub struct Lan {
    inner: Arc<Inner>,
}

struct Inner {
    folder: Folder,
    clock: Arc<Clock>,
    hearer: Mutex<Hearer>,
    certificate: RwLock<Option<authority::Showing>>,
    /// The port that is listened on, which is another one than was asked for where any free one was.
    bound: AtomicU16,
    /// Offers made by this process whose secret may still be shown.
    offered: Mutex<BTreeMap<String, Offered>>,
    /// What a device sent while it was locked, until its PIN is typed.
    held: Mutex<BTreeMap<String, gate::Held>>,
    tries: Mutex<BTreeMap<IpAddr, (u32, Timestamp)>>,
    /// One PIN is hashed at a time: each takes 64 MiB for a moment.
    hashing: Semaphore,
}

impl fmt::Debug for Lan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Lan").field(&self.inner.folder).finish()
    }
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Lan {
    /// The network kept in a folder; the folder need not be there while it is off.
    #[must_use]
    pub fn of(folder: &Path) -> Self {
        Self::told_the_time(folder, surroundings::now)
    }

    /// The same with another clock, for trials of what days do.
    #[must_use]
    pub fn told_the_time(folder: &Path, clock: impl Fn() -> Timestamp + Send + Sync + 'static) -> Self {
        let inner = Inner {
            folder: Folder::of(folder),
            clock: Arc::new(clock),
            hearer: Mutex::default(),
            certificate: RwLock::new(None),
            bound: AtomicU16::new(0),
            offered: Mutex::default(),
            held: Mutex::default(),
            tries: Mutex::default(),
            hashing: Semaphore::new(1),
        };
        Self { inner: Arc::new(inner) }
    }

    pub(crate) fn now(&self) -> Timestamp {
        (self.inner.clock)()
    }

    /// Who hears of what happens here.
    pub(crate) fn heard_by(&self, hearer: Hearer) {
        *locked(&self.inner.hearer) = hearer;
    }

    pub(crate) fn hear(&self, event: &Event) {
        locked(&self.inner.hearer).hear(event);
    }

    /// Gives what was turned on; none where nothing ever was.
    ///
    /// # Errors
    /// [`LanError::System`], [`LanError::Spoiled`].
    pub fn settings(&self) -> Result<Option<Settings>, LanError> {
        self.inner.folder.read("network.json")
    }

    /// Whether the bench is on the network; a folder that cannot be read means no.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.settings().is_ok_and(|settings| settings.is_some_and(|s| s.on))
    }

    /// Turns the network on: makes the authority where there is none, and a certificate for the names and addresses.
    ///
    /// # Errors
    /// [`LanError::Name`], [`LanError::Address`], [`LanError::NoAddress`], [`LanError::OtherName`], [`LanError::Ports`], and
    /// what the disk says.
    pub fn turn_on(&self, wanted: &Settings, new_authority: bool) -> Result<LanStanding, LanError> {
        let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        let name = &wanted.name;
        let edge = name.starts_with('-') || name.ends_with('-');
        if name.is_empty() || name.len() > 40 || edge || !name.chars().all(fits) {
            return Err(LanError::Name(name.clone()));
        }
        if let Some(open) = wanted.addresses.iter().find(|a| !is_private(a)) {
            return Err(LanError::Address(*open));
        }
        if wanted.pairing_port.is_some_and(|p| p != 0 && p == wanted.port) {
            return Err(LanError::Ports(wanted.port));
        }
        found(wanted)?;
        let folder = &self.inner.folder;
        folder.make()?;
        let lock = folder.lock()?;
        let there: Option<Authority> = folder.read(authority::FILE)?;
        match there {
            Some(authority) if authority.name == *name && !new_authority => {}
            Some(authority) if !new_authority => return Err(LanError::OtherName { there: authority.name }),
            _ => {
                folder.write(authority::FILE, &Authority::made(name, self.now())?)?;
                folder.remove(authority::SHOWN)?;
            }
        }
        folder.write("network.json", &Settings { on: true, ..wanted.clone() })?;
        drop(lock);
        self.renew()?;
        self.standing()?.ok_or(LanError::Off)
    }

    /// Turns the network off; authority and devices stay for the next time.
    ///
    /// # Errors
    /// What the disk says.
    pub fn turn_off(&self) -> Result<(), LanError> {
        if let Some(settings) = self.settings()? {
            let _lock = self.inner.folder.lock()?;
            self.inner.folder.write("network.json", &Settings { on: false, ..settings })?;
        }
        Ok(())
    }

    /// Makes the certificate of the bench anew where it has fewer than 30 days left, or the addresses have changed; gives
    /// whether it did. A computer that has no address for the moment keeps those that it had.
    ///
    /// # Errors
    /// [`LanError::Off`], [`LanError::Certificate`], and what the disk says.
    pub fn renew(&self) -> Result<bool, LanError> {
        let settings = self.settings()?.filter(|s| s.on).ok_or(LanError::Off)?;
        let lock = self.inner.folder.lock()?;
        let authority: Authority = self.inner.folder.read(authority::FILE)?.ok_or(LanError::Off)?;
        let shown: Option<authority::Shown> = self.inner.folder.read(authority::SHOWN)?;
        let addresses = match (found(&settings), &shown) {
            (Ok(addresses), _) => addresses,
            (Err(_), Some(shown)) => shown.addresses.clone(),
            (Err(why), None) => return Err(why),
        };
        let now = self.now();
        let good = shown.filter(|shown| shown.is_good(now, &settings.names(), &addresses));
        let (shown, renewed) = match good {
            Some(shown) => (shown, false),
            None => {
                let made = authority.certificate_for(&settings.names(), &addresses, now)?;
                self.inner.folder.write(authority::SHOWN, &made)?;
                (made, true)
            }
        };
        drop(lock);
        let showing = shown.showing()?;
        *self.inner.certificate.write().unwrap_or_else(PoisonError::into_inner) = Some(showing);
        if renewed {
            self.hear(&Event::CertificateRenewed);
        }
        Ok(renewed)
    }

    /// How it stands; none where it was never turned on.
    ///
    /// # Errors
    /// What the disk says.
    pub fn standing(&self) -> Result<Option<LanStanding>, LanError> {
        let Some(settings) = self.settings()? else { return Ok(None) };
        let authority: Option<Authority> = self.inner.folder.read(authority::FILE)?;
        let shown: Option<authority::Shown> = self.inner.folder.read(authority::SHOWN)?;
        let (Some(authority), Some(shown)) = (authority, shown) else { return Ok(None) };
        let mut settings = settings;
        // Where any free port was asked for, what is listened on is the port.
        let bound = self.inner.bound.load(Ordering::Relaxed);
        if bound != 0 {
            settings.port = bound;
        }
        Ok(Some(LanStanding {
            settings,
            addresses: shown.addresses.clone(),
            fingerprint: authority.fingerprint(),
            authority_until: authority.until,
            certificate_until: shown.until,
        }))
    }

    /// The certificate of the authority, in its binary form (DER); none where there is none.
    ///
    /// # Errors
    /// What the disk says.
    pub fn authority_certificate(&self) -> Result<Option<Vec<u8>>, LanError> {
        let authority: Option<Authority> = self.inner.folder.read(authority::FILE)?;
        authority.map(|a| a.certificate_der()).transpose()
    }

    /// The certificate that is shown now.
    fn showing(&self) -> Option<authority::Showing> {
        self.inner.certificate.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub(crate) fn bound_to(&self, port: u16) {
        self.inner.bound.store(port, Ordering::Relaxed);
    }

    /// The book of devices as it is on the disk.
    pub(crate) fn book(&self) -> Result<Book, LanError> {
        Ok(self.inner.folder.read(devices::FILE)?.unwrap_or_default())
    }

    /// Changes the book of devices; what changed is on the disk when this comes back.
    fn change<T>(&self, change: impl FnOnce(&mut Book, Timestamp) -> T) -> Result<T, LanError> {
        let _lock = self.inner.folder.lock()?;
        let before = self.book()?;
        let mut book = before.clone();
        let now = self.now();
        let out = change(&mut book, now);
        book.tidy(now);
        if book != before {
            self.inner.folder.write(devices::FILE, &book)?;
        }
        Ok(out)
    }

    /// Offers to pair a device: the secret is made here, shown once, and kept as a hash.
    ///
    /// # Errors
    /// [`LanError::Off`], [`LanError::Named`], [`LanError::Reach`], and what the disk says.
    pub fn offer(&self, device: &NewDevice) -> Result<Offered, LanError> {
        let standing = self.standing()?.filter(|s| s.settings.on).ok_or(LanError::Off)?;
        let device = device.clean()?;
        let reach = match device.reach.as_deref() {
            None => standing.surest(),
            Some(asked) if standing.reached_at().iter().any(|r| r == asked) => asked.to_owned(),
            Some(asked) => {
                return Err(LanError::Reach { asked: asked.to_owned(), there: standing.reached_at().join(", ") });
            }
        };
        let secret = folder::secret()?;
        let code = devices::code(&folder::secret()?);
        let id = self.change(|book, now| book.offer(&device, &secret, &code, now))?;
        let until = self.now().checked_add(devices::OFFERED).unwrap_or(Timestamp::MAX);
        let url = format!("https://{reach}:{}/pair#{secret}", standing.settings.port);
        let offered = Offered { id, url, code: devices::spaced(&code), until };
        locked(&self.inner.offered).insert(offered.id.clone(), offered.clone());
        Ok(offered)
    }

    /// What this process may still show of an offer.
    pub(crate) fn offered(&self, id: &str) -> Option<Offered> {
        let now = self.now();
        let mut offered = locked(&self.inner.offered);
        offered.retain(|_, offer| offer.until > now);
        offered.get(id).cloned()
    }

    /// Devices that wait to be let in, with the number on their screen.
    ///
    /// # Errors
    /// What the disk says.
    pub fn waiting(&self) -> Result<Vec<Waiting>, LanError> {
        Ok(self.book()?.waiting(self.now()))
    }

    /// Says whether the numbers on both screens match, by the id of the offer: the device is let in, or sent away.
    ///
    /// # Errors
    /// [`LanError::NoNumber`] where nothing waits under the id, and what the disk says.
    pub fn answer(&self, id: &str, matches: bool) -> Result<(), LanError> {
        let done = self.change(|book, now| book.answer(id, matches, now))?;
        if done.is_err() {
            return Err(LanError::NoNumber(id.to_owned()));
        }
        locked(&self.inner.offered).remove(id);
        if !matches {
            self.hear(&Event::PairingRefused { why: NotPaired::NoMatch.word() });
        }
        Ok(())
    }

    /// The devices that are paired, the last seen first.
    ///
    /// # Errors
    /// What the disk says.
    pub fn devices(&self) -> Result<Vec<DeviceLine>, LanError> {
        Ok(self.book()?.lines(self.now()))
    }

    /// Removes a device, by its id or its name: its session ends with it, and what it keeps of the shop is cleared when it
    /// next calls.
    ///
    /// # Errors
    /// [`LanError::NoDevice`], and what the disk says.
    pub fn remove(&self, meant: &str) -> Result<DeviceLine, LanError> {
        let removed = self.change(|book, now| book.remove(meant, now))?;
        let removed = removed.ok_or_else(|| LanError::NoDevice(meant.to_owned()))?;
        locked(&self.inner.held).remove(&removed.id);
        self.hear(&Event::DeviceRemoved { why: "owner" });
        Ok(removed)
    }

    /// Counts a try to pair from an address; the seconds to wait where it has had too many.
    fn try_from(&self, address: IpAddr) -> Result<(), u64> {
        let now = self.now();
        let life = devices::OFFERED.as_secs();
        let address = network_of(address);
        let mut tries = locked(&self.inner.tries);
        tries.retain(|_, (_, since)| now.duration_since(*since).as_secs().abs() < life);
        let all: u32 = tries.values().map(|(n, _)| *n).sum();
        let (n, since) = tries.get(&address).copied().unwrap_or((0, now));
        if n >= TRIES || all >= TRIES_OF_ALL {
            let left = life.saturating_sub(now.duration_since(since).as_secs()).max(1);
            return Err(u64::try_from(left).unwrap_or(1));
        }
        tries.insert(address, (n + 1, since));
        Ok(())
    }

    /// Takes what a device showed to be paired; the key that it gets, and the number that stands on both screens.
    async fn claim(&self, shown: Shown, pin: &str, seed: &[u8; 32]) -> Result<Result<String, NotPaired>, LanError> {
        // Looked up first: nobody makes this computer hash PINs without an offer.
        let now = self.now();
        if let Err(why) = self.book()?.open_offer(&shown, now) {
            if why == NotPaired::Used {
                self.change(|book, _| book.tried_again(&shown))?;
            }
            return Ok(Err(why));
        }
        let hash = self.hashed(pin).await?;
        let key = folder::secret()?;
        let done = self.change(|book, now| book.claim(&shown, &key, hash, seed, now))?;
        Ok(done.map(|()| key))
    }

    async fn hashed(&self, pin: &str) -> Result<pin::Hash, LanError> {
        let _turn = self.inner.hashing.acquire().await;
        let pin = pin.to_owned();
        let salt = folder::chance()?;
        let made = tokio::task::spawn_blocking(move || pin::Hash::of(&pin, salt)).await;
        made.ok().flatten().ok_or_else(|| LanError::Certificate("the PIN cannot be hashed".to_owned()))
    }

    /// Tries a PIN; where it is right a new session begins and its token is given.
    async fn unlock(&self, device: &str, typed: &str) -> Result<Result<String, devices::Wrong>, LanError> {
        // Counted before it is looked at, so that a thousand at once are no more than ten.
        let hash = match self.change(|book, now| book.try_pin(device, now))? {
            Ok(hash) => hash,
            Err(why) => return Ok(Err(why)),
        };
        let _turn = self.inner.hashing.acquire().await;
        let typed = typed.to_owned();
        let right = tokio::task::spawn_blocking(move || hash.is_of(&typed)).await.unwrap_or(false);
        let token = folder::secret()?;
        let done = self.change(|book, now| book.tried(device, right, &token, now))?;
        Ok(done.map(|()| token))
    }
}

/// The network that an address stands for in a count: one machine of the old kind, one household of the new.
fn network_of(address: IpAddr) -> IpAddr {
    match address {
        IpAddr::V4(_) => address,
        IpAddr::V6(v6) => match v6.to_ipv4_mapped() {
            Some(v4) => IpAddr::V4(v4),
            None => IpAddr::V6(Ipv6Addr::from_bits(v6.to_bits() & (u128::MAX << 64))),
        },
    }
}

/// Whether an address belongs to a network that is not reached from outside (RFC 1918, RFC 3927, RFC 4193, RFC 4291), or is
/// this machine itself.
fn is_private(address: &IpAddr) -> bool {
    authority::NETWORKS.iter().any(|(network, prefix)| match (network, address) {
        (IpAddr::V4(net), IpAddr::V4(a)) => {
            let mask = u32::MAX.checked_shl(32_u32.saturating_sub(u32::from(*prefix))).unwrap_or(0);
            net.to_bits() & mask == a.to_bits() & mask
        }
        (IpAddr::V6(net), IpAddr::V6(a)) => {
            let mask = u128::MAX.checked_shl(128_u32.saturating_sub(u32::from(*prefix))).unwrap_or(0);
            net.to_bits() & mask == a.to_bits() & mask
        }
        (IpAddr::V4(_), IpAddr::V6(_)) | (IpAddr::V6(_), IpAddr::V4(_)) => false,
    })
}

/// The addresses of settings: those named, else the one that this computer would speak from.
fn found(settings: &Settings) -> Result<Vec<IpAddr>, LanError> {
    if !settings.addresses.is_empty() {
        let once: BTreeSet<IpAddr> = settings.addresses.iter().copied().collect();
        return Ok(once.into_iter().collect());
    }
    // A datagram socket that is given a far end learns its near end from the routes; nothing is sent. The far end is an
    // address of documentation (RFC 5737).
    let near = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0))
        .and_then(|socket| socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).and_then(|()| socket.local_addr()))
        .map(|at| at.ip());
    match near {
        Ok(address) if address.is_unspecified() => Err(LanError::NoAddress),
        Ok(address) if is_private(&address) => Ok(vec![address]),
        Ok(address) => Err(LanError::Address(address)),
        Err(_) => Err(LanError::NoAddress),
    }
}
