//! Offers to pair, paired devices and their sessions: what each step makes of the book, without disk, clock or chance.

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::folder::hash;
use super::{LanError, Role, pin};

/// The file of the book.
pub(super) const FILE: &str = "devices.json";
/// How long an offer to pair holds, and how long the owner has to compare the numbers [published: OWASP ASVS 5.0, 6.5.5].
pub(super) const OFFERED: SignedDuration = SignedDuration::from_mins(10);
/// After so long without a touch a device asks for its PIN before anything is entered \[ours\].
const IDLE: SignedDuration = SignedDuration::from_mins(30);
/// After so long a session ends \[ours\].
pub(super) const SESSION: SignedDuration = SignedDuration::from_hours(24 * 14);
/// How exactly it is known when a device was last touched \[ours\]: the book is not written at each request.
const TOUCHED: SignedDuration = SignedDuration::from_mins(1);
/// How long offers that are over are remembered, so that a late one is known for what it is \[ours\].
const REMEMBERED: SignedDuration = SignedDuration::from_hours(24);
/// How long a device is known to be removed \[ours\]: as long as its cookie lives.
pub(super) const COOKIE: SignedDuration = SignedDuration::from_hours(24 * 400);
/// So many wrong PINs are free of waiting, and with so many the device is unpaired \[ours\].
const FREE: u32 = 5;
const MOST: u32 = 10;
/// Seconds to wait after the fifth, sixth … wrong PIN \[ours\].
const WAITS: [i64; 5] = [60, 120, 300, 900, 1800];
/// Signs of a typed code: no letter that looks like a digit.
const SIGNS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Signs of a code: forty bits.
const CODE: usize = 8;

/// A device to be paired.
#[derive(Debug, Clone)]
pub struct NewDevice {
    /// What it is called in the list.
    pub name: String,
    /// Who signs what is entered on it.
    pub person: String,
    /// What it may do.
    pub role: Role,
    /// The name or address that it reaches the bench at; none: the first address.
    pub reach: Option<String>,
}

impl NewDevice {
    /// The same without blanks around names, where both say something.
    pub(super) fn clean(&self) -> Result<Self, LanError> {
        let clean = |text: &str, what: &'static str| {
            let text = text.trim();
            let fits = !text.is_empty() && text.chars().count() <= 40 && !text.chars().any(char::is_control);
            if fits { Ok(text.to_owned()) } else { Err(LanError::Named(what)) }
        };
        Ok(Self {
            name: clean(&self.name, "the device has no name")?,
            person: clean(&self.person, "nobody is named who works with it")?,
            role: self.role,
            reach: self.reach.clone(),
        })
    }
}

/// A device as the list shows it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DeviceLine {
    /// Its id.
    pub id: String,
    /// What it is called.
    pub name: String,
    /// Who signs what is entered on it.
    pub person: String,
    /// What it may do.
    pub role: Role,
    /// When it was paired.
    pub paired: Timestamp,
    /// When it was last touched.
    pub seen: Option<Timestamp>,
    /// Whether it asks for its PIN now.
    pub locked: bool,
    /// Wrong PINs since the last right one.
    pub wrong_pins: u32,
}

/// A device that waits to be let in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Waiting {
    /// The id of the offer.
    pub id: String,
    /// What the device is called.
    pub name: String,
    /// Who works with it.
    pub person: String,
    /// What it may do.
    pub role: Role,
    /// The number that stands on its screen too.
    pub number: String,
    /// Whether another device tried the same offer.
    pub another_tried: bool,
}

/// Why a device is not paired.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotPaired {
    /// There is no such offer.
    Unknown,
    /// The offer was used before.
    Used,
    /// The offer is over.
    Late,
    /// The numbers did not match.
    NoMatch,
    /// Too many tries.
    TooMany,
}

impl NotPaired {
    /// Gives the word of the log.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            NotPaired::Unknown => "unknown",
            NotPaired::Used => "used",
            NotPaired::Late => "late",
            NotPaired::NoMatch => "no-match",
            NotPaired::TooMany => "too-many",
        }
    }
}

/// What a device shows to be paired.
#[derive(Debug, Clone)]
pub(super) enum Shown {
    /// The secret of the picture.
    Secret(String),
    /// The typed code.
    Code(String),
}

/// Why a PIN was not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wrong {
    /// It is not the one; so many tries are left.
    Pin { left: u32 },
    /// It was not looked at: so many seconds are to be waited.
    Wait { seconds: u64 },
    /// It was the last try, or there is no such device any more.
    Unpaired,
}

/// Who asks, when a paired device does.
#[derive(Debug, Clone)]
pub(crate) struct Asker {
    /// The id of the device.
    pub(crate) id: String,
    /// What it is called.
    pub(crate) device: String,
    /// Who works with it.
    pub(crate) person: String,
    pub(crate) role: Role,
    /// Whether nothing is entered before the PIN is typed.
    pub(crate) locked: bool,
}

/// What a key and a token are good for.
#[derive(Debug, Clone)]
pub(super) enum Standing {
    /// No device has this key.
    Unknown,
    /// A device had it and was removed.
    Removed,
    /// A device has it, and no session: nothing is shown before its PIN is typed.
    SignedOut { id: String, name: String },
    /// A device has it, with a session.
    Open(Asker),
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Session {
    token: String,
    begun: Timestamp,
    used: Timestamp,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Device {
    id: String,
    name: String,
    person: String,
    role: Role,
    key: String,
    pin: pin::Hash,
    paired: Timestamp,
    seen: Option<Timestamp>,
    wrong: u32,
    tried: Option<Timestamp>,
    session: Option<Session>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Claim {
    key: String,
    pin: pin::Hash,
    number: String,
    at: Timestamp,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Offer {
    id: String,
    name: String,
    person: String,
    role: Role,
    secret: String,
    code: String,
    until: Timestamp,
    used: bool,
    another_tried: bool,
    claim: Option<Claim>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Gone {
    key: String,
    at: Timestamp,
}

/// The book.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Book {
    offers: Vec<Offer>,
    devices: Vec<Device>,
    removed: Vec<Gone>,
}

/// A typed code out of a secret.
pub(super) fn code(secret: &str) -> String {
    let bytes = Sha256::digest(secret.as_bytes());
    let sign = |b: &u8| SIGNS.get(usize::from(b & 31)).map_or('0', |s| char::from(*s));
    bytes.iter().take(CODE).map(sign).collect()
}

/// A code as it is read out.
pub(super) fn spaced(code: &str) -> String {
    let (first, second) = code.split_at_checked(CODE / 2).unwrap_or((code, ""));
    format!("{first}-{second}")
}

/// A code as it was meant: signs that look alike are one.
pub(super) fn meant(typed: &str) -> String {
    let plain = typed.chars().filter(|c| !c.is_whitespace() && *c != '-');
    let meant = plain.map(|c| match c.to_ascii_uppercase() {
        'O' => '0',
        'I' | 'L' => '1',
        'U' => 'V',
        c => c,
    });
    meant.take(40).collect()
}

/// The four digits on both screens: out of the connection the device came by, and what it showed.
fn number(seed: &[u8; 32], offer: &str, key: &str) -> String {
    let mut hasher = Sha256::new();
    hasher.update(b"witnessmark number on both screens\0");
    hasher.update(seed);
    hasher.update(offer.as_bytes());
    hasher.update(key.as_bytes());
    let bytes = hasher.finalize();
    let n = bytes.iter().take(4).fold(0_u32, |n, b| (n << 8) | u32::from(*b));
    format!("{:04}", n % 10_000)
}

fn past(at: Timestamp, life: SignedDuration, now: Timestamp) -> bool {
    now.duration_since(at) >= life
}

impl Book {
    /// Forgets what is of no use any more.
    pub(super) fn tidy(&mut self, now: Timestamp) {
        self.offers.retain(|o| !past(o.until, REMEMBERED, now));
        self.removed.retain(|g| !past(g.at, COOKIE, now));
    }

    pub(super) fn offer(&mut self, device: &NewDevice, secret: &str, code: &str, now: Timestamp) -> String {
        let id: String = hash(&hash(secret)).chars().take(12).collect();
        self.offers.push(Offer {
            id: id.clone(),
            name: device.name.clone(),
            person: device.person.clone(),
            role: device.role,
            secret: hash(secret),
            code: hash(code),
            until: now.checked_add(OFFERED).unwrap_or(Timestamp::MAX),
            used: false,
            another_tried: false,
            claim: None,
        });
        id
    }

    fn shown(&self, shown: &Shown) -> Option<usize> {
        let (secret, code) = match shown {
            Shown::Secret(secret) => (Some(hash(secret)), None),
            Shown::Code(code) => (None, Some(hash(&meant(code)))),
        };
        self.offers.iter().position(|o| secret.as_ref() == Some(&o.secret) || code.as_ref() == Some(&o.code))
    }

    /// Whether what is shown may be used now.
    pub(super) fn open_offer(&self, shown: &Shown, now: Timestamp) -> Result<usize, NotPaired> {
        let at = self.shown(shown).ok_or(NotPaired::Unknown)?;
        let offer = self.offers.get(at).ok_or(NotPaired::Unknown)?;
        if offer.used {
            return Err(NotPaired::Used);
        }
        // A clock that was set back gives an offer no longer life.
        let made = offer.until.checked_sub(OFFERED).unwrap_or(Timestamp::MIN);
        if now >= offer.until || now < made { Err(NotPaired::Late) } else { Ok(at) }
    }

    /// Notes that a second device showed what was used.
    pub(super) fn tried_again(&mut self, shown: &Shown) {
        if let Some(offer) = self.shown(shown).and_then(|at| self.offers.get_mut(at)) {
            offer.another_tried = true;
        }
    }

    pub(super) fn claim(
        &mut self,
        shown: &Shown,
        key: &str,
        pin: pin::Hash,
        seed: &[u8; 32],
        now: Timestamp,
    ) -> Result<(), NotPaired> {
        let at = self.open_offer(shown, now)?;
        let offer = self.offers.get_mut(at).ok_or(NotPaired::Unknown)?;
        offer.used = true;
        let number = number(seed, &offer.id, key);
        offer.claim = Some(Claim { key: hash(key), pin, number, at: now });
        Ok(())
    }

    fn live(&self, now: Timestamp) -> impl Iterator<Item = (&Offer, &Claim)> {
        let claimed = self.offers.iter().filter_map(|o| o.claim.as_ref().map(|c| (o, c)));
        claimed.filter(move |(_, c)| !past(c.at, OFFERED, now))
    }

    pub(super) fn waiting(&self, now: Timestamp) -> Vec<Waiting> {
        let line = |(o, c): (&Offer, &Claim)| Waiting {
            id: o.id.clone(),
            name: o.name.clone(),
            person: o.person.clone(),
            role: o.role,
            number: c.number.clone(),
            another_tried: o.another_tried,
        };
        self.live(now).map(line).collect()
    }

    /// The number that stands on the screen of a device that waits.
    pub(super) fn number_for(&self, key: &str, now: Timestamp) -> Option<String> {
        let key = hash(key);
        self.live(now).find(|(_, c)| c.key == key).map(|(_, c)| c.number.clone())
    }

    /// What has become of an offer: open, waited with, or over.
    pub(super) fn is_open(&self, id: &str, now: Timestamp) -> bool {
        self.offers.iter().any(|o| o.id == id && !o.used && now < o.until)
    }

    /// Whether a device was paired by this offer.
    pub(super) fn paired_by(&self, id: &str) -> Option<&str> {
        self.devices.iter().find(|d| d.id == id).map(|d| d.name.as_str())
    }

    pub(super) fn answer(&mut self, id: &str, matches: bool, now: Timestamp) -> Result<(), ()> {
        let offer = self.offers.iter_mut().find(|o| o.id == id).ok_or(())?;
        offer.used = true;
        if !matches {
            offer.claim = None;
            offer.until = offer.until.min(now);
            return Ok(());
        }
        let claim = offer.claim.take().filter(|c| !past(c.at, OFFERED, now)).ok_or(())?;
        let device = Device {
            id: offer.id.clone(),
            name: offer.name.clone(),
            person: offer.person.clone(),
            role: offer.role,
            key: claim.key,
            pin: claim.pin,
            paired: now,
            seen: None,
            wrong: 0,
            tried: None,
            session: None,
        };
        self.devices.push(device);
        Ok(())
    }

    /// Begins the first session of a device that was just let in: its PIN was typed a moment ago.
    pub(super) fn first_session(&mut self, key: &str, token: &str, now: Timestamp) -> bool {
        let key = hash(key);
        let fresh = |d: &&mut Device| d.key == key && d.seen.is_none() && !past(d.paired, OFFERED, now);
        let Some(device) = self.devices.iter_mut().find(fresh) else { return false };
        device.seen = Some(now);
        device.session = Some(Session { token: hash(token), begun: now, used: now });
        true
    }

    pub(super) fn lines(&self, now: Timestamp) -> Vec<DeviceLine> {
        let mut lines: Vec<DeviceLine> = self
            .devices
            .iter()
            .map(|d| DeviceLine {
                id: d.id.clone(),
                name: d.name.clone(),
                person: d.person.clone(),
                role: d.role,
                paired: d.paired,
                seen: d.seen,
                locked: d.session.as_ref().is_none_or(|s| s.is_over(now) || s.is_idle(now)),
                wrong_pins: d.wrong,
            })
            .collect();
        lines.sort_by(|a, b| b.seen.cmp(&a.seen).then_with(|| a.id.cmp(&b.id)));
        lines
    }

    /// What a key and a token are good for.
    pub(super) fn standing(&self, key: Option<&str>, token: Option<&str>, now: Timestamp) -> Standing {
        let Some(key) = key.map(hash) else { return Standing::Unknown };
        let Some(device) = self.devices.iter().find(|d| d.key == key) else {
            let removed = self.removed.iter().any(|g| g.key == key);
            return if removed { Standing::Removed } else { Standing::Unknown };
        };
        let token = token.map(hash);
        match device.session.as_ref().filter(|s| !s.is_over(now) && Some(&s.token) == token.as_ref()) {
            None => Standing::SignedOut { id: device.id.clone(), name: device.name.clone() },
            Some(session) => Standing::Open(Asker {
                id: device.id.clone(),
                device: device.name.clone(),
                person: device.person.clone(),
                role: device.role,
                locked: session.is_idle(now),
            }),
        }
    }

    /// Whether a touch of a device is worth being written down.
    pub(super) fn is_news(&self, id: &str, now: Timestamp) -> bool {
        let session = self.devices.iter().find(|d| d.id == id).and_then(|d| d.session.as_ref());
        session.is_some_and(|s| past(s.used, TOUCHED, now) && !s.is_idle(now) && !s.is_over(now))
    }

    /// Writes down that a device was touched.
    pub(super) fn touched(&mut self, id: &str, now: Timestamp) {
        if !self.is_news(id, now) {
            return;
        }
        if let Some(device) = self.devices.iter_mut().find(|d| d.id == id) {
            device.seen = Some(now);
            if let Some(session) = &mut device.session {
                session.used = now;
            }
        }
    }

    pub(super) fn signed_out(&mut self, id: &str) {
        if let Some(device) = self.devices.iter_mut().find(|d| d.id == id) {
            device.session = None;
        }
    }

    /// Counts a try and gives what the PIN is held against; nothing while it is to be waited.
    pub(super) fn try_pin(&mut self, id: &str, now: Timestamp) -> Result<pin::Hash, Wrong> {
        let device = self.devices.iter_mut().find(|d| d.id == id).ok_or(Wrong::Unpaired)?;
        if let Some(last) = device.tried.filter(|_| device.wrong >= FREE) {
            let nth = usize::try_from(device.wrong - FREE).unwrap_or(usize::MAX);
            let wait = WAITS.get(nth).or(WAITS.last()).copied().unwrap_or(0);
            // A clock that was set back does not make anybody wait longer than was said.
            let gone = now.duration_since(last).as_secs();
            if (0..wait).contains(&gone) {
                return Err(Wrong::Wait { seconds: u64::try_from(wait - gone).unwrap_or(1) });
            }
        }
        if device.wrong >= MOST {
            return Err(Wrong::Unpaired);
        }
        device.wrong += 1;
        device.tried = Some(now);
        Ok(device.pin.clone())
    }

    /// What came of a try that was counted.
    pub(super) fn tried(&mut self, id: &str, right: bool, token: &str, now: Timestamp) -> Result<(), Wrong> {
        let device = self.devices.iter_mut().find(|d| d.id == id).ok_or(Wrong::Unpaired)?;
        if right {
            device.wrong = 0;
            device.tried = None;
            device.seen = Some(now);
            device.session = Some(Session { token: hash(token), begun: now, used: now });
            return Ok(());
        }
        if device.wrong < MOST {
            return Err(Wrong::Pin { left: MOST - device.wrong });
        }
        self.remove(id, now);
        Err(Wrong::Unpaired)
    }

    /// Removes the device of an id, or the only one of a name.
    pub(super) fn remove(&mut self, meant: &str, now: Timestamp) -> Option<DeviceLine> {
        let lines = self.lines(now);
        let named: Vec<&DeviceLine> = lines.iter().filter(|l| l.name == meant).collect();
        let line = lines.iter().find(|l| l.id == meant).or(match named.as_slice() {
            [one] => Some(one),
            _ => None,
        })?;
        let at = self.devices.iter().position(|d| d.id == line.id)?;
        let device = self.devices.remove(at);
        self.removed.push(Gone { key: device.key, at: now });
        Some(line.clone())
    }
}

impl Session {
    /// A clock that was set back gives no session more life: from before its begin it is over, too.
    fn is_over(&self, now: Timestamp) -> bool {
        past(self.begun, SESSION, now) || past(now, TOUCHED, self.begun)
    }

    fn is_idle(&self, now: Timestamp) -> bool {
        past(self.used, IDLE, now) || past(now, TOUCHED, self.used)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_second(1_800_000_000 + 60 * minutes).unwrap()
    }

    fn someone() -> NewDevice {
        NewDevice { name: "phone".into(), person: "Ansel".into(), role: Role::Technician, reach: None }
    }

    fn hashed() -> pin::Hash {
        serde_json::from_str(r#"{"memory_kib":8,"passes":1,"lanes":1,"salt":"00","argon2id":"00"}"#).unwrap()
    }

    #[test]
    fn a_code_is_read_as_it_was_meant() {
        let code = code("x");
        assert_eq!(code.len(), CODE);
        assert_eq!(meant(&spaced(&code).to_lowercase()), code);
        assert_eq!(meant("oOiIlL-uU"), "001111VV");
    }

    #[test]
    fn an_offer_is_good_once_and_for_ten_minutes_and_not_before_it_was_made() {
        let mut book = Book::default();
        let id = book.offer(&someone(), "s", "C0DE", at(0));
        let shown = Shown::Secret("s".into());
        assert!(book.open_offer(&shown, at(9)).is_ok());
        assert_eq!(book.open_offer(&shown, at(10)), Err(NotPaired::Late));
        assert_eq!(book.open_offer(&shown, at(-1)), Err(NotPaired::Late), "a clock set back");
        assert_eq!(book.open_offer(&Shown::Code("other".into()), at(1)), Err(NotPaired::Unknown));
        assert_eq!(book.claim(&Shown::Code("co-de".into()), "k", hashed(), &[0; 32], at(1)), Ok(()));
        assert_eq!(book.open_offer(&shown, at(2)), Err(NotPaired::Used));
        let number = book.number_for("k", at(2)).unwrap();
        assert_eq!(book.waiting(at(2)).first().map(|w| w.number.clone()), Some(number));
        assert!(book.waiting(at(12)).is_empty(), "nobody waits for ever");
        assert_eq!(book.answer(&id, true, at(12)), Err(()), "too late to be let in");
    }

    #[test]
    fn ten_wrong_pins_unpair_with_growing_waits_and_nobody_else_is_touched() {
        let mut book = Book::default();
        for (secret, key) in [("a", "ka"), ("b", "kb")] {
            let id = book.offer(&someone(), secret, secret, at(0));
            book.claim(&Shown::Secret(secret.into()), key, hashed(), &[0; 32], at(0)).unwrap();
            book.answer(&id, true, at(0)).unwrap();
            assert!(book.first_session(key, "t", at(0)));
        }
        let id = book.lines(at(1)).first().unwrap().id.clone();
        let mut now = 1;
        let (mut looked_at, mut waited) = (0, Vec::new());
        for _ in 0..1000 {
            match book.try_pin(&id, at(now)) {
                Ok(_) => {
                    looked_at += 1;
                    if book.tried(&id, false, "t", at(now)) == Err(Wrong::Unpaired) {
                        break;
                    }
                }
                Err(Wrong::Wait { seconds }) => {
                    waited.push(seconds);
                    now += i64::try_from(seconds).unwrap() / 60;
                }
                Err(other) => panic!("{other:?}"),
            }
        }
        assert_eq!((looked_at, waited), (10, vec![60, 120, 300, 900, 1800]));
        assert_eq!(book.lines(at(now)).len(), 1);
        assert!(!book.lines(at(2)).first().unwrap().locked, "the other one goes on");
        assert!(book.removed.len() == 1);
    }

    #[test]
    fn a_session_locks_after_half_an_hour_and_ends_after_fourteen_days() {
        let mut book = Book::default();
        let id = book.offer(&someone(), "s", "c", at(0));
        book.claim(&Shown::Secret("s".into()), "k", hashed(), &[0; 32], at(0)).unwrap();
        book.answer(&id, true, at(0)).unwrap();
        assert!(book.first_session("k", "t", at(0)));
        assert!(!book.first_session("k", "u", at(0)), "once");
        let locked = |book: &Book, now| match book.standing(Some("k"), Some("t"), at(now)) {
            Standing::Open(asker) => Some(asker.locked),
            Standing::Unknown | Standing::Removed | Standing::SignedOut { .. } => None,
        };
        assert_eq!(locked(&book, 29), Some(false));
        assert_eq!(locked(&book, 30), Some(true));
        assert_eq!(locked(&book, -2), None, "a clock set back");
        let mut now = 0;
        while now < 14 * 24 * 60 {
            book.touched(&id, at(now));
            now += 20;
        }
        assert_eq!(locked(&book, 14 * 24 * 60 - 1), Some(false), "touched all the time it stays open");
        assert_eq!(locked(&book, 14 * 24 * 60), None, "and ends all the same");
        assert!(matches!(book.standing(Some("k"), Some("other"), at(1)), Standing::SignedOut { .. }));
        assert!(matches!(book.standing(Some("x"), Some("t"), at(1)), Standing::Unknown));
        book.remove("phone", at(2)).unwrap();
        assert!(matches!(book.standing(Some("k"), Some("t"), at(2)), Standing::Removed));
    }
}
