//! A PostgreSQL server of the test's own: Debian's programs, a folder that goes
//! away, loopback only.

use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::skip::{require, require_in, skipped};

/// How long the server may take to start.
const PATIENCE: Duration = Duration::from_secs(60);

/// Runs the server until its own input ends, then takes its folder away. `runuser` hands
/// the signal on; an immediate shutdown needs no rest.
const UNTIL_THE_TEST_ENDS: &str = r#"folder=$1; shift
"$@" & server=$!
read -r _
kill -TERM "$server"
wait "$server"
rm -rf "$folder""#;

/// A running server; it ends with this.
#[derive(Debug)]
pub struct Server {
    child: Child,
    port: u16,
    root: Option<PathBuf>,
    // Last, so that it goes after the server.
    _folder: tempfile::TempDir,
}

impl Server {
    /// Starts a server; `None` where there is none, which is reported as a skip.
    ///
    /// # Panics
    /// When the programs are there and the server does not start.
    #[must_use]
    pub fn start() -> Option<Self> {
        Self::with(false)
    }

    /// A server that encrypts, with a certificate for `localhost` (and for no other
    /// name) from a root of the test's own; `None` where there is none, or no
    /// openssl, which is reported as a skip.
    ///
    /// # Panics
    /// When the programs are there and the server does not start.
    #[must_use]
    pub fn start_encrypted() -> Option<Self> {
        Self::with(true)
    }

    /// The root certificate of a server that encrypts.
    ///
    /// # Panics
    /// For another one.
    #[must_use]
    pub fn root(&self) -> &Path {
        self.root.as_deref().expect("a server that encrypts")
    }

    fn with(encrypted: bool) -> Option<Self> {
        const HOW: &str = "install it with `apt-get install postgresql`";
        let folders = debian();
        let initdb = require_in("initdb", &folders, HOW)?;
        let postgres = require_in("postgres", &folders, HOW)?;
        let is_root = rustix::process::geteuid().is_root();
        if is_root && run(Command::new("id").arg("postgres")).is_err() {
            skipped(
                "there is no user postgres, and root may not run the server: install Debian's postgresql",
            );
            return None;
        }
        let folder = tempfile::tempdir().expect("a folder");
        let mut settings: Vec<String> = Vec::new();
        let mut root = None;
        if encrypted {
            let own = Certificates::make(folder.path(), "localhost")?;
            settings = own.settings();
            root = Some(own.root);
        }
        let data = folder.path().join("data");
        if is_root {
            run(Command::new("chown")
                .args(["-R", "postgres"])
                .arg(folder.path()))
            .expect("chown");
        }
        let as_user = |program: &Path| {
            let mut command = if is_root {
                let mut command = Command::new("runuser");
                command.args(["-u", "postgres", "--"]).arg(program);
                command
            } else {
                Command::new(program)
            };
            command.current_dir(folder.path());
            command
        };
        run(as_user(&initdb)
            .args(["--auth=trust", "--username=bench", "--encoding=UTF8", "-D"])
            .arg(&data))
        .unwrap_or_else(|error| panic!("initdb: {error}"));
        let port = TcpListener::bind("127.0.0.1:0")
            .and_then(|listener| listener.local_addr())
            .expect("a port")
            .port();
        // Ends with the test, however that ends: whatever holds the other end of the
        // pipe, it closes then.
        let mut wanted = as_user(&postgres);
        wanted
            .arg("-D")
            .arg(&data)
            .args(["-h", "127.0.0.1", "-p", &port.to_string(), "-k"])
            .arg(folder.path())
            .args(&settings);
        let child = Command::new("sh")
            .args(["-c", UNTIL_THE_TEST_ENDS, "sh"])
            .arg(folder.path())
            .arg(wanted.get_program())
            .args(wanted.get_args())
            .current_dir(folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("postgres starts");
        let server = Self {
            child,
            port,
            root,
            _folder: folder,
        };
        let start = Instant::now();
        while std::net::TcpStream::connect(("127.0.0.1", port)).is_err()
            || loomproof::records::postgres::Postgres::connect(&server.url("postgres")).is_err()
        {
            assert!(start.elapsed() < PATIENCE, "postgres does not answer");
            std::thread::sleep(Duration::from_millis(50));
        }
        Some(server)
    }

    /// The address of a database.
    #[must_use]
    pub fn url(&self, database: &str) -> String {
        self.url_of("127.0.0.1", database)
    }

    /// The same, of this machine by another name.
    #[must_use]
    pub fn url_of(&self, host: &str, database: &str) -> String {
        format!("postgres://bench@{host}:{}/{database}", self.port)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        drop(self.child.stdin.take());
        let _ = self.child.wait();
    }
}

/// A root, and a server's certificate from it, made by openssl.
#[derive(Debug)]
pub struct Certificates {
    /// The root certificate (PEM).
    pub root: PathBuf,
    certificate: PathBuf,
    key: PathBuf,
}

impl Certificates {
    /// Makes them in a folder; `None` where there is no openssl, which is reported as
    /// a skip.
    ///
    /// # Panics
    /// When openssl fails.
    #[must_use]
    pub fn make(folder: &Path, name: &str) -> Option<Self> {
        let openssl = require("openssl")?;
        let file = |name: &str| folder.join(name);
        let key = |name: &str, subject: &str| {
            let mut command = Command::new(&openssl);
            command
                .args([
                    "req",
                    "-newkey",
                    "ec",
                    "-pkeyopt",
                    "ec_paramgen_curve:P-256",
                ])
                .args(["-nodes", "-subj", subject, "-keyout"])
                .arg(file(name));
            command
        };
        let done = |command: &mut Command| {
            run(command).unwrap_or_else(|error| panic!("openssl: {error}"));
        };
        done(
            key("root.key", "/CN=Root of the test")
                .args(["-x509", "-days", "2", "-out"])
                .arg(file("root.pem")),
        );
        done(
            key("server.key", &format!("/CN={name}"))
                .arg("-out")
                .arg(file("server.csr")),
        );
        std::fs::write(file("server.ext"), format!("subjectAltName=DNS:{name}\n")).expect("a file");
        done(
            Command::new(&openssl)
                .args(["x509", "-req", "-days", "2", "-CAcreateserial", "-in"])
                .arg(file("server.csr"))
                .arg("-CA")
                .arg(file("root.pem"))
                .arg("-CAkey")
                .arg(file("root.key"))
                .arg("-extfile")
                .arg(file("server.ext"))
                .arg("-out")
                .arg(file("server.pem")),
        );
        Some(Self {
            root: file("root.pem"),
            certificate: file("server.pem"),
            key: file("server.key"),
        })
    }

    /// What the server is to be told.
    fn settings(&self) -> Vec<String> {
        let own = [
            "ssl=on".to_owned(),
            format!("ssl_cert_file={}", self.certificate.display()),
            format!("ssl_key_file={}", self.key.display()),
        ];
        own.into_iter()
            .flat_map(|own| ["-c".to_owned(), own])
            .collect()
    }
}

/// Where Debian keeps the programs of each version.
fn debian() -> Vec<PathBuf> {
    let versions = std::fs::read_dir("/usr/lib/postgresql");
    let mut folders: Vec<PathBuf> = versions
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path().join("bin"))
        .collect();
    folders.sort();
    folders
}

fn run(command: &mut Command) -> Result<(), String> {
    let output = command.output().map_err(|error| error.to_string())?;
    if output.status.success() {
        return Ok(());
    }
    Err(String::from_utf8_lossy(&output.stderr).into_owned())
}
