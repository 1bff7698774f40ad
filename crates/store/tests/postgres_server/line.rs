//! A line to the server that can be cut: at a commit, before it, after some bytes, or for good.

#![expect(
    clippy::indexing_slicing,
    clippy::wildcard_enum_match_arm,
    reason = "a part of the tests: what does not fit fails them"
)]

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};

/// How a client asks for a commit: a simple query of its eleven bytes [published: PostgreSQL documentation, "Message
/// Formats", Query].
const COMMIT: &[u8] = b"Q\0\0\0\x0bCOMMIT\0";

/// What is done to the line next; after it has been done everything passes again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Plan {
    /// Nothing.
    Pass,
    /// The commit does not get through, and the line is cut.
    CutBeforeCommit,
    /// The commit gets through and its answer does not.
    CutAfterCommit,
    /// As before, and nobody gets through any more until something else is planned.
    CutAfterCommitForGood,
    /// The commit does not get through, and nobody hears that the line is dead.
    Swallow,
    /// Cut when so many more bytes have gone to the server.
    AfterBytesUp(usize),
    /// Cut when so many more bytes have come back.
    AfterBytesDown(usize),
    /// Nobody gets through.
    Refuse,
}

/// The line.
#[derive(Debug)]
pub(crate) struct Line {
    port: u16,
    state: Arc<State>,
}

#[derive(Debug)]
struct State {
    socket: PathBuf,
    plan: Mutex<Plan>,
    done: AtomicU32,
}

impl Line {
    /// A line to the server with this socket.
    pub(crate) fn to(socket: &Path) -> Line {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let state =
            Arc::new(State { socket: socket.to_owned(), plan: Mutex::new(Plan::Pass), done: AtomicU32::new(0) });
        let shared = Arc::clone(&state);
        std::thread::spawn(move || {
            for client in listener.incoming().map_while(Result::ok) {
                State::join(&shared, client);
            }
        });
        Line { port, state }
    }

    /// The address of a database at the end of the line.
    pub(crate) fn address(&self, database: &str, role: &str) -> String {
        format!("postgres://{role}@127.0.0.1:{}/{database}", self.port)
    }

    /// Says what is done to it next.
    pub(crate) fn plan(&self, plan: Plan) {
        *self.state.plan.lock().unwrap() = plan;
    }

    /// How often something was done to it.
    pub(crate) fn done(&self) -> u32 {
        self.state.done.load(Ordering::SeqCst)
    }
}

impl State {
    fn join(state: &Arc<State>, client: TcpStream) {
        let plan = *state.plan.lock().unwrap();
        let Ok(server) = UnixStream::connect(&state.socket) else { return };
        if plan == Plan::Refuse {
            return;
        }
        client.set_nodelay(true).unwrap();
        let muted = Arc::new(AtomicBool::new(false));
        let up = (Arc::clone(state), client.try_clone().unwrap(), server.try_clone().unwrap(), Arc::clone(&muted));
        std::thread::spawn(move || up.0.carry_up(up.1, up.2, &up.3));
        let down = Arc::clone(state);
        std::thread::spawn(move || down.carry_down(client, server, &muted));
    }

    /// Marks the plan as carried out.
    fn carried_out(&self, then: Plan) {
        *self.plan.lock().unwrap() = then;
        self.done.fetch_add(1, Ordering::SeqCst);
    }

    fn carry_up(&self, mut client: TcpStream, mut server: UnixStream, muted: &AtomicBool) {
        let mut buffer = vec![0; 1 << 16];
        while let Ok(read @ 1..) = client.read(&mut buffer) {
            let chunk = &buffer[..read];
            let asks = chunk.windows(COMMIT.len()).any(|window| window == COMMIT);
            let plan = *self.plan.lock().unwrap();
            match plan {
                Plan::CutBeforeCommit if asks => {
                    self.carried_out(Plan::Pass);
                    break;
                }
                Plan::CutAfterCommit if asks => {
                    muted.store(true, Ordering::SeqCst);
                    self.carried_out(Plan::Pass);
                }
                Plan::CutAfterCommitForGood if asks => {
                    muted.store(true, Ordering::SeqCst);
                    self.carried_out(Plan::Refuse);
                }
                Plan::Swallow if asks => {
                    self.carried_out(Plan::Pass);
                    continue;
                }
                Plan::AfterBytesUp(left) if read >= left => {
                    self.carried_out(Plan::Pass);
                    let _half = server.write_all(&chunk[..left]);
                    break;
                }
                Plan::AfterBytesUp(left) => *self.plan.lock().unwrap() = Plan::AfterBytesUp(left - read),
                _ => {}
            }
            if server.write_all(chunk).is_err() {
                break;
            }
        }
        let _gone = (client.shutdown(Shutdown::Both), server.shutdown(Shutdown::Both));
    }

    fn carry_down(&self, mut client: TcpStream, mut server: UnixStream, muted: &AtomicBool) {
        let mut buffer = vec![0; 1 << 16];
        while let Ok(read @ 1..) = server.read(&mut buffer) {
            let chunk = &buffer[..read];
            if muted.load(Ordering::SeqCst) {
                // The answer to the commit: it is done, and nobody hears of it.
                break;
            }
            let plan = *self.plan.lock().unwrap();
            match plan {
                Plan::AfterBytesDown(left) if read >= left => {
                    self.carried_out(Plan::Pass);
                    let _half = client.write_all(&chunk[..left]);
                    break;
                }
                Plan::AfterBytesDown(left) => *self.plan.lock().unwrap() = Plan::AfterBytesDown(left - read),
                _ => {}
            }
            if client.write_all(chunk).is_err() {
                break;
            }
        }
        let _gone = (client.shutdown(Shutdown::Both), server.shutdown(Shutdown::Both));
    }
}
