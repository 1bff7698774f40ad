//! The shop's own authority, and the certificate that the bench shows.
//!
//! The authority may speak for the two names of this computer and for addresses of private networks, and for nothing else
//! (RFC 5280, 4.2.1.10): a phone that trusts it trusts the bench and not the world.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use std::sync::Arc;

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DistinguishedName, DnType, ExtendedKeyUsagePurpose,
    GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose, NameConstraints, SanType,
};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use tokio_rustls::rustls::crypto::ring::sign::any_ecdsa_type;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};
use tokio_rustls::rustls::sign::CertifiedKey;

use super::LanError;
use super::folder::{hex, unhex};

/// The file of the authority.
pub(super) const FILE: &str = "authority.json";
/// The file of the certificate that the bench shows.
pub(super) const SHOWN: &str = "server.json";
/// How long the authority holds \[ours\]: longer than the computer.
const AUTHORITY: SignedDuration = SignedDuration::from_hours(24 * 3652);
/// How long a certificate holds \[ours\]: below the 397 days that the strictest devices take.
const CERTIFICATE: SignedDuration = SignedDuration::from_hours(24 * 390);
/// With so much left it is made anew \[ours\].
const EARLY: SignedDuration = SignedDuration::from_hours(24 * 30);
/// How much earlier than now a certificate begins, for devices whose clock is late \[ours\].
const SLOW_CLOCKS: SignedDuration = SignedDuration::from_hours(24);

/// Networks that are not reached from outside (RFC 1918, RFC 3927, RFC 4193, RFC 4291), and this machine itself.
pub(super) const NETWORKS: &[(IpAddr, u8)] = &[
    (IpAddr::V4(Ipv4Addr::new(10, 0, 0, 0)), 8),
    (IpAddr::V4(Ipv4Addr::new(172, 16, 0, 0)), 12),
    (IpAddr::V4(Ipv4Addr::new(192, 168, 0, 0)), 16),
    (IpAddr::V4(Ipv4Addr::new(169, 254, 0, 0)), 16),
    (IpAddr::V4(Ipv4Addr::new(127, 0, 0, 0)), 8),
    (IpAddr::V6(Ipv6Addr::new(0xfc00, 0, 0, 0, 0, 0, 0, 0)), 7),
    (IpAddr::V6(Ipv6Addr::new(0xfe80, 0, 0, 0, 0, 0, 0, 0)), 10),
    (IpAddr::V6(Ipv6Addr::LOCALHOST), 128),
];

/// The authority.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Authority {
    /// The name of the computer that it speaks for.
    pub(super) name: String,
    made: Timestamp,
    pub(super) until: Timestamp,
    certificate: String,
    key: String,
}

/// The certificate that the bench shows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Shown {
    names: Vec<String>,
    pub(super) addresses: Vec<IpAddr>,
    made: Timestamp,
    pub(super) until: Timestamp,
    certificate: String,
    key: String,
}

/// The same, ready to be shown, with the hosts that it is for.
#[derive(Debug, Clone)]
pub(super) struct Showing {
    pub(super) key: Arc<CertifiedKey>,
    /// The names, which a browser may be told to insist on.
    pub(super) names: Vec<String>,
    pub(super) addresses: Vec<IpAddr>,
}

fn failed(why: impl ToString) -> LanError {
    LanError::Certificate(why.to_string())
}

fn spoiled(what: &str) -> LanError {
    failed(format!("{what} is spoiled"))
}

/// Sets from when until when something holds, by whole days.
fn lasting(params: &mut CertificateParams, from: Timestamp, until: Timestamp) -> Result<(), LanError> {
    let day = |at: Timestamp| {
        let date = at.to_zoned_datetime(TimeZone::UTC).date();
        let (month, day) = (u8::try_from(date.month()), u8::try_from(date.day()));
        match (month, day) {
            (Ok(month), Ok(day)) => Ok(rcgen::date_time_ymd(i32::from(date.year()), month, day)),
            (Err(_), _) | (_, Err(_)) => Err(failed("the day cannot be written")),
        }
    };
    params.not_before = day(from)?;
    params.not_after = day(until)?;
    Ok(())
}

fn later(at: Timestamp, by: SignedDuration) -> Result<Timestamp, LanError> {
    at.checked_add(by).map_err(failed)
}

/// What the certificate of an authority says, the same each time, so that what it signs names it rightly.
fn of_authority(name: &str, from: Timestamp, until: Timestamp) -> Result<CertificateParams, LanError> {
    let mut params = CertificateParams::default();
    let mut named = DistinguishedName::new();
    named.push(DnType::CommonName, format!("witnessmark of {name}, since {}", from.strftime("%Y-%m-%d %H:%M")));
    params.distinguished_name = named;
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    let of_names = ["home.arpa", "local"].map(|zone| GeneralSubtree::DnsName(format!("{name}.{zone}")));
    let of_networks =
        NETWORKS.iter().map(|(net, prefix)| GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(*net, *prefix)));
    params.name_constraints = Some(NameConstraints {
        permitted_subtrees: of_names.into_iter().chain(of_networks).collect(),
        excluded_subtrees: Vec::new(),
    });
    lasting(&mut params, from, until)?;
    Ok(params)
}

impl Authority {
    /// A new authority.
    pub(super) fn made(name: &str, now: Timestamp) -> Result<Self, LanError> {
        let key = KeyPair::generate().map_err(failed)?;
        let until = later(now, AUTHORITY)?;
        let certificate = of_authority(name, now, until)?.self_signed(&key).map_err(failed)?;
        Ok(Self {
            name: name.to_owned(),
            made: now,
            until,
            certificate: hex(certificate.der()),
            key: hex(key.serialized_der()),
        })
    }

    /// Its certificate in binary form.
    pub(super) fn certificate_der(&self) -> Result<Vec<u8>, LanError> {
        unhex(&self.certificate).ok_or_else(|| spoiled("the certificate of the authority"))
    }

    /// SHA-256 of its certificate, as devices show it.
    pub(super) fn fingerprint(&self) -> String {
        let der = unhex(&self.certificate).unwrap_or_default();
        let pairs: Vec<String> = Sha256::digest(&der).iter().map(|b| format!("{b:02X}")).collect();
        pairs.join(":")
    }

    /// A certificate, with a new key, for names and addresses.
    pub(super) fn certificate_for(
        &self,
        names: &[String],
        addresses: &[IpAddr],
        now: Timestamp,
    ) -> Result<Shown, LanError> {
        let of_ours = unhex(&self.key).ok_or_else(|| spoiled("the key of the authority"))?;
        let of_ours = KeyPair::try_from(of_ours).map_err(failed)?;
        let issuer = Issuer::new(of_authority(&self.name, self.made, self.until)?, of_ours);
        let until = later(now, CERTIFICATE)?.min(self.until);
        let from = now.checked_sub(SLOW_CLOCKS).map_err(failed)?;
        if until <= now {
            return Err(failed(format!("the authority held until {}; say --new-authority", self.until)));
        }
        let mut params = CertificateParams::new(names.to_vec()).map_err(failed)?;
        params.subject_alt_names.extend(addresses.iter().map(|a| SanType::IpAddress(*a)));
        let mut named = DistinguishedName::new();
        named.push(DnType::CommonName, format!("witnessmark on {}", self.name));
        params.distinguished_name = named;
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        params.use_authority_key_identifier_extension = true;
        lasting(&mut params, from, until)?;
        let key = KeyPair::generate().map_err(failed)?;
        let certificate = params.signed_by(&key, &issuer).map_err(failed)?;
        Ok(Shown {
            names: names.to_vec(),
            addresses: addresses.to_vec(),
            made: now,
            until,
            certificate: hex(certificate.der()),
            key: hex(key.serialized_der()),
        })
    }
}

impl Shown {
    /// Whether it is for these names and addresses and holds long enough; one from the future was made by a wrong clock.
    pub(super) fn is_good(&self, now: Timestamp, names: &[String], addresses: &[IpAddr]) -> bool {
        let left = self.until.duration_since(now);
        let begun = now >= self.made.checked_sub(SLOW_CLOCKS).unwrap_or(Timestamp::MIN);
        self.names == names && self.addresses == addresses && left >= EARLY && begun
    }

    /// Ready to be shown.
    pub(super) fn showing(&self) -> Result<Showing, LanError> {
        let certificate = unhex(&self.certificate).ok_or_else(|| spoiled("the certificate of the bench"))?;
        let key = unhex(&self.key).ok_or_else(|| spoiled("the key of the bench"))?;
        let key = any_ecdsa_type(&PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key))).map_err(failed)?;
        Ok(Showing {
            key: Arc::new(CertifiedKey::new(vec![CertificateDer::from(certificate)], key)),
            names: self.names.clone(),
            addresses: self.addresses.clone(),
        })
    }
}
