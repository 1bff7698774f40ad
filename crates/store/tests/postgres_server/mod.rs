//! A PostgreSQL server for the tests: the one whose socket's folder is named in the surroundings, or one that this program
//! starts for itself. It listens on a socket in a folder of its own and nowhere else, and it ends when this program does.
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "clippy lets only the tests themselves off, not the functions they share"
)]
#![allow(dead_code, reason = "every file of tests takes another part of it")]
#![allow(clippy::allow_attributes, reason = "what is left over differs from file to file, so nothing can be expected")]

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

/// Where `./test` says in which folder the socket of its server is.
const NAMED: &str = "WITNESSMARK_TEST_POSTGRES";
/// The port is only the end of the socket's name.
pub(crate) const PORT: u16 = 5432;
/// The role that owns everything here.
pub(crate) const OWNER: &str = "postgres";
/// How often one looks whether a server is up, and how long one waits between two looks.
const LOOKS: u32 = 600;
const BETWEEN: Duration = Duration::from_millis(50);

/// A server.
#[derive(Debug)]
pub(crate) struct Server {
    folder: PathBuf,
    keeper: Option<Child>,
    extra: Vec<String>,
    ours: bool,
}

impl Server {
    /// The server that all tests share, each with a database of its own.
    pub(crate) fn shared() -> &'static Server {
        static SHARED: OnceLock<Server> = OnceLock::new();
        SHARED.get_or_init(|| match std::env::var_os(NAMED) {
            Some(folder) => Server { folder: folder.into(), keeper: None, extra: Vec::new(), ours: false },
            None => Server::start(&[]),
        })
    }

    /// A server for one test alone, with some settings (`name=value`) of its own.
    pub(crate) fn start(extra: &[&str]) -> Server {
        // A socket's name may have about a hundred characters, so the folder's is short.
        let folder = tempfile::Builder::new().prefix("wm").tempdir_in("/tmp").unwrap().keep();
        if is_root() {
            assert!(Command::new("chown").arg(OWNER).arg(&folder).status().unwrap().success());
        }
        let made = as_owner(&program("initdb"))
            .args(["-A", "trust", "-U", OWNER, "-N", "--locale=C", "-E", "UTF8", "-D"])
            .arg(folder.join("data"))
            .output()
            .expect("initdb runs");
        assert!(made.status.success(), "initdb: {}", both(&made));
        let mut server =
            Server { folder, keeper: None, extra: extra.iter().map(|s| (*s).to_owned()).collect(), ours: true };
        server.up();
        server
    }

    /// Starts it, or starts it again, and waits until it answers.
    pub(crate) fn up(&mut self) {
        for _ in 0..20 {
            self.keep();
            for _ in 0..LOOKS {
                if self.answers() {
                    return;
                }
                // After a kill the old parts may hold the memory for a moment; then this start has given up.
                if self.keeper.as_mut().is_some_and(|keeper| keeper.try_wait().unwrap().is_some()) {
                    break;
                }
                std::thread::sleep(BETWEEN);
            }
            std::thread::sleep(BETWEEN);
        }
        let log = fs::read_to_string(self.folder.join("log")).unwrap_or_default();
        panic!("the server does not come up; it says:\n{log}");
    }

    /// Starts it under a keeper that ends it as soon as this program ends, however that comes about.
    fn keep(&mut self) {
        let mut options = String::new();
        for setting in &self.extra {
            write!(options, " -c {setting}").unwrap();
        }
        let script = format!(
            "'{}' -D \"$0/data\" -c listen_addresses= -k \"$0\" -p {PORT}{options} >>\"$0/log\" 2>&1 & server=$!
             (read -r _ <&3; : >\"$0/ended\"; kill -QUIT $server) 2>/dev/null & waiter=$!
             wait $server; if [ -e \"$0/ended\" ]; then rm -rf \"$0\"; else kill $waiter; fi",
            program("postgres").display()
        );
        let mut command = as_owner(Path::new("sh"));
        // The waiter hears the end of this program as the end of what it reads.
        command.arg("-c").arg(format!("exec 3<&0; {script}")).arg(&self.folder).stdin(Stdio::piped());
        self.keeper = Some(command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("sh runs"));
    }

    fn answers(&self) -> bool {
        self.psql("postgres", OWNER, "SELECT 1").status.success()
    }

    /// Kills it in the middle of whatever it does.
    pub(crate) fn kill(&mut self) {
        let pid = fs::read_to_string(self.folder.join("data").join("postmaster.pid")).unwrap();
        let pid = pid.lines().next().unwrap().to_owned();
        assert!(Command::new("kill").args(["-KILL", &pid]).status().unwrap().success());
        if let Some(mut keeper) = self.keeper.take() {
            // Held until the keeper has seen that the server is dead: it must not take this for the end of the program.
            let _held = keeper.stdin.take();
            keeper.wait().unwrap();
        }
    }

    /// The path of its socket.
    pub(crate) fn socket(&self) -> PathBuf {
        self.folder.join(format!(".s.PGSQL.{PORT}"))
    }

    /// Makes a database and gives its name.
    pub(crate) fn database(&self) -> String {
        static TURN: AtomicU32 = AtomicU32::new(0);
        let name = format!("t{}_{}", std::process::id(), TURN.fetch_add(1, Ordering::Relaxed));
        self.sql("postgres", &format!("CREATE DATABASE {name} TEMPLATE template0"));
        name
    }

    /// The address of a database, for a role.
    pub(crate) fn address(&self, database: &str, role: &str) -> String {
        format!("postgres://{role}@localhost:{PORT}/{database}?host={}", self.folder.display())
    }

    /// Runs SQL as the owner, and gives what it prints.
    pub(crate) fn sql(&self, database: &str, sql: &str) -> String {
        let done = self.psql(database, OWNER, sql);
        assert!(done.status.success(), "{sql}: {}", both(&done));
        String::from_utf8_lossy(&done.stdout).trim().to_owned()
    }

    /// Runs SQL as some role.
    pub(crate) fn psql(&self, database: &str, role: &str, sql: &str) -> Output {
        self.psql_command(database, role, sql).output().expect("psql runs")
    }

    /// How SQL is run as some role, to be left running beside the test.
    pub(crate) fn psql_command(&self, database: &str, role: &str, sql: &str) -> Command {
        let mut command = Command::new("psql");
        command
            .args(["-X", "-q", "-t", "-A", "-v", "ON_ERROR_STOP=1", "-p"])
            .arg(PORT.to_string())
            .arg("-h")
            .arg(&self.folder)
            .args(["-U", role, "-d", database, "-c", sql])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Some(mut keeper) = self.keeper.take() {
            drop(keeper.stdin.take());
            let _ended = keeper.wait();
        }
        if self.ours {
            let _gone = fs::remove_dir_all(&self.folder);
        }
    }
}

/// What a program said.
pub(crate) fn both(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// A program of the server: where the system lays them by version, or on the path.
fn program(name: &str) -> PathBuf {
    let versions = fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let mut found: Vec<PathBuf> = versions.map(|v| v.path().join("bin").join(name)).filter(|p| p.is_file()).collect();
    found.sort();
    found.pop().unwrap_or_else(|| PathBuf::from(name))
}

fn is_root() -> bool {
    let told = Command::new("id").arg("-u").output().expect("id runs");
    String::from_utf8_lossy(&told.stdout).trim() == "0"
}

/// The server does not run as root: then it runs as the user that its package made.
fn as_owner(program: &Path) -> Command {
    if !is_root() {
        return Command::new(program);
    }
    let mut command = Command::new("runuser");
    command.args(["-u", OWNER, "--"]).arg(program);
    command
}
