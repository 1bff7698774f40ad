//! Listening on the network: TLS 1.2 and 1.3 only, a bound on connections, and none that stays open with nothing said.

use std::fmt;
use std::future::Future;
use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::extract::connect_info::Connected;
use axum::serve::{IncomingStream, Listener};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio::time::{Instant, Sleep};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::server::{ClientHello, ResolvesServerCert};
use tokio_rustls::rustls::sign::CertifiedKey;
use tokio_rustls::rustls::{ServerConfig, version};
use tokio_rustls::server::TlsStream;

use super::{Lan, LanError, gate, plain};
use crate::around::Around;
use crate::desk::Bench;
use crate::log::Event;

/// The most connections at a time \[ours\]: a browser opens six.
const CONNECTIONS: usize = 256;
/// How long a device may take to agree on keys \[ours\].
const HANDSHAKE: Duration = Duration::from_secs(10);
/// How long a connection stays open with nothing said on it \[ours\]; a page that listens is spoken to every twenty seconds.
const SILENT: Duration = Duration::from_secs(120);
/// How long after a failed try the port is tried again, and after a system without free handles \[ours\].
const AGAIN: Duration = Duration::from_secs(30);
const BREATH: Duration = Duration::from_millis(200);

/// Who is at the other end.
#[derive(Debug, Clone, Copy)]
pub(super) struct Peer {
    pub(super) address: SocketAddr,
    /// Something that only the two ends of this connection can know.
    pub(super) seed: [u8; 32],
}

/// Shows the certificate of the moment, so that a new one needs no new start.
#[derive(Debug)]
struct OfTheMoment(Lan);

impl ResolvesServerCert for OfTheMoment {
    fn resolve(&self, _hello: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        self.0.showing().map(|showing| showing.key)
    }
}

/// What connections are made with.
fn config(lan: &Lan) -> Result<Arc<ServerConfig>, LanError> {
    let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_protocol_versions(&[&version::TLS13, &version::TLS12])
        .map_err(|why| LanError::Certificate(why.to_string()))?;
    let mut config = config.with_no_client_auth().with_cert_resolver(Arc::new(OfTheMoment(lan.clone())));
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Arc::new(config))
}

/// A connection that counts, and that ends when nothing is said on it.
pub(super) struct Bounded<S> {
    stream: S,
    silence: Pin<Box<Sleep>>,
    peer: Peer,
    _counts: OwnedSemaphorePermit,
}

impl<S> Bounded<S> {
    fn heard(&mut self) {
        self.silence.as_mut().reset(Instant::now() + SILENT);
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Bounded<S> {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        match Pin::new(&mut self.stream).poll_read(cx, buf) {
            Poll::Ready(read) => {
                self.heard();
                Poll::Ready(read)
            }
            Poll::Pending => {
                let over = self.silence.as_mut().poll(cx);
                over.map(|()| Err(io::Error::new(io::ErrorKind::TimedOut, "nothing was said")))
            }
        }
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Bounded<S> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(cx, bytes);
        if written.is_ready() {
            self.heard();
        }
        written
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

/// Connections that are ready to be spoken on.
pub(super) struct Incoming<S> {
    ready: mpsc::Receiver<Bounded<S>>,
    at: SocketAddr,
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send + 'static> Listener for Incoming<S> {
    type Io = Bounded<S>;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        match self.ready.recv().await {
            Some(stream) => {
                let at = stream.peer.address;
                (stream, at)
            }
            // Nobody takes connections any more, which ends with the bench.
            None => std::future::pending().await,
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        Ok(self.at)
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send + 'static> Connected<IncomingStream<'_, Incoming<S>>> for Peer {
    fn connect_info(stream: IncomingStream<'_, Incoming<S>>) -> Self {
        stream.io().peer
    }
}

/// What is listened on.
pub struct Listening {
    pub(super) lan: Lan,
    pub(super) secure: Incoming<TlsStream<TcpStream>>,
    pub(super) plain: Option<Incoming<TcpStream>>,
    /// Where the bench is open.
    open_at: Vec<SocketAddr>,
    /// What could not be listened on, which is tried again.
    not_yet: Vec<LanError>,
}

impl fmt::Debug for Listening {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Listening").field("open_at", &self.open_at).finish_non_exhaustive()
    }
}

impl Listening {
    /// Gives where the bench is open on the network.
    #[must_use]
    pub fn open_at(&self) -> &[SocketAddr] {
        &self.open_at
    }

    /// Gives where the page that says how to pair is open.
    #[must_use]
    pub fn paired_at(&self) -> Option<SocketAddr> {
        self.plain.as_ref().map(|plain| plain.at)
    }

    /// Gives what could not be listened on; it is tried again every half minute.
    #[must_use]
    pub fn not_yet(&self) -> &[LanError] {
        &self.not_yet
    }
}

/// Listens on the network where the owner turned that on; none where not. Renews the certificate where that is due.
///
/// # Errors
/// What the disk says, or why there is no certificate. A port that cannot be had is no error: it is tried again.
pub async fn listen(lan: &Lan) -> Result<Option<Listening>, LanError> {
    let Some(settings) = lan.settings()?.filter(|settings| settings.on) else { return Ok(None) };
    lan.renew()?;
    let acceptor = TlsAcceptor::from(config(lan)?);
    let hosts: Vec<IpAddr> = if settings.addresses.is_empty() {
        vec![IpAddr::V4(Ipv4Addr::UNSPECIFIED)]
    } else {
        settings.addresses.clone()
    };
    let room = Arc::new(Semaphore::new(CONNECTIONS));
    let greet = move |stream: TcpStream| {
        let acceptor = acceptor.clone();
        async move {
            let stream = tokio::time::timeout(HANDSHAKE, acceptor.accept(stream)).await.ok()?.ok()?;
            let seed =
                stream.get_ref().1.export_keying_material([0_u8; 32], b"EXPORTER-witnessmark-match", None).ok()?;
            Some((stream, seed))
        }
    };
    let mut not_yet = Vec::new();
    let (send, ready) = mpsc::channel(16);
    let mut open_at = Vec::new();
    for host in &hosts {
        let wanted = SocketAddr::new(*host, settings.port);
        let taking = Taking { lan: lan.clone(), room: Arc::clone(&room), send: send.clone() };
        open_at.extend(taking.begin(wanted, greet.clone(), &mut not_yet).await);
    }
    if let Some(first) = open_at.first() {
        lan.bound_to(first.port());
    }
    let nowhere = SocketAddr::new(IpAddr::V4(Ipv4Addr::UNSPECIFIED), settings.port);
    let secure = Incoming { ready, at: open_at.first().copied().unwrap_or(nowhere) };
    let plain = match settings.pairing_port {
        None => None,
        Some(port) => {
            let (send, ready) = mpsc::channel(16);
            let mut at = None;
            let greet = |stream: TcpStream| async move { Some((stream, [0_u8; 32])) };
            for host in &hosts {
                let taking = Taking { lan: lan.clone(), room: Arc::clone(&room), send: send.clone() };
                at = at.or(taking.begin(SocketAddr::new(*host, port), greet, &mut not_yet).await);
            }
            Some(Incoming { ready, at: at.unwrap_or(nowhere) })
        }
    };
    Ok(Some(Listening { lan: lan.clone(), secure, plain, open_at, not_yet }))
}

/// Takes connections of one port.
struct Taking<S> {
    lan: Lan,
    room: Arc<Semaphore>,
    send: mpsc::Sender<Bounded<S>>,
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send + 'static> Taking<S> {
    /// Takes the port and what comes in on it, as a task of its own; where the port cannot be had, it is tried again.
    async fn begin<G, F>(self, wanted: SocketAddr, greet: G, not_yet: &mut Vec<LanError>) -> Option<SocketAddr>
    where
        G: Fn(TcpStream) -> F + Clone + Send + Sync + 'static,
        F: Future<Output = Option<(S, [u8; 32])>> + Send + 'static,
    {
        let listener = match TcpListener::bind(wanted).await {
            Ok(listener) => Some(listener),
            Err(why) => {
                not_yet.push(LanError::Port { at: wanted, why });
                None
            }
        };
        let at = listener.as_ref().and_then(|l| l.local_addr().ok());
        tokio::spawn(self.take(wanted, listener, greet));
        at
    }

    async fn take<G, F>(self, wanted: SocketAddr, mut listener: Option<TcpListener>, greet: G)
    where
        G: Fn(TcpStream) -> F + Clone + Send + Sync + 'static,
        F: Future<Output = Option<(S, [u8; 32])>> + Send + 'static,
    {
        loop {
            let Some(there) = &listener else {
                tokio::select! {
                    () = tokio::time::sleep(AGAIN) => {}
                    () = self.send.closed() => return,
                }
                listener = TcpListener::bind(wanted).await.ok();
                if listener.is_some() {
                    self.lan.hear(&Event::NetworkOpened);
                }
                continue;
            };
            let taken = tokio::select! {
                taken = there.accept() => taken,
                () = self.send.closed() => return,
            };
            let Ok((stream, address)) = taken else {
                tokio::time::sleep(BREATH).await;
                continue;
            };
            // Turned off while the bench is open: nobody is spoken to any more.
            if !self.lan.is_on() {
                continue;
            }
            let Ok(counts) = Arc::clone(&self.room).try_acquire_owned() else { continue };
            let (send, greet) = (self.send.clone(), greet.clone());
            tokio::spawn(async move {
                let _no_matter = stream.set_nodelay(true);
                let Some((stream, seed)) = greet(stream).await else { return };
                let peer = Peer { address, seed };
                let silence = Box::pin(tokio::time::sleep(SILENT));
                let _closed = send.send(Bounded { stream, silence, peer, _counts: counts }).await;
            });
        }
    }
}

/// How often it is looked at whether the certificate is due, or the address another one \[ours\].
const LOOK: Duration = Duration::from_secs(60);

/// Serves what is listened on until the bench closes; nothing to do where nothing is.
pub(crate) async fn serving(bench: Bench, listening: Option<Listening>) -> io::Result<()> {
    let Some(Listening { lan, secure, plain, .. }) = listening else { return Ok(()) };
    let around = bench.around().clone();
    let until = |around: Around| async move { around.closing().await };
    let app = gate::router(&bench, &lan).into_make_service_with_connect_info::<Peer>();
    let devices = axum::serve(secure, app).with_graceful_shutdown(until(around.clone())).into_future();
    let pairing = async {
        match plain {
            Some(plain) => axum::serve(plain, plain::router(&lan)).with_graceful_shutdown(until(around.clone())).await,
            None => Ok(()),
        }
    };
    let renewing = async {
        let mut said = false;
        loop {
            tokio::select! {
                () = tokio::time::sleep(LOOK) => {}
                () = around.closing() => return Ok(()),
            }
            // Turned off meanwhile is no trouble; that it cannot be written is, and is tried again and said once.
            let failed = lan.is_on() && lan.renew().is_err();
            if failed && !said {
                lan.hear(&Event::CertificateNotRenewed);
            }
            said = failed;
        }
    };
    tokio::try_join!(devices, pairing, renewing).map(|_| ())
}
