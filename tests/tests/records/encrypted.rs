//! The connection to a PostgreSQL server, encrypted as its address says.

use std::io::{Read as _, Write as _};
use std::net::{TcpListener, UdpSocket};
use std::sync::OnceLock;
use std::time::Duration;

use loomproof::records::database::{Database as _, StoreError};
use loomproof::records::postgres::Postgres;
use loomproof::records::sqlite::Access;
use loomproof::records::whereabouts::Whereabouts;
use loomproof_tests::postgres::{Certificates, Server};
use loomproof_tests::records::Maker;
use loomproof_tests::skip::skipped;

/// A server that encrypts, for `localhost`.
fn encrypting() -> Option<&'static Server> {
    static SERVER: OnceLock<Option<Server>> = OnceLock::new();
    SERVER.get_or_init(Server::start_encrypted).as_ref()
}

/// Whether this connection is encrypted, by what the server says of it.
fn encrypted(url: &str) -> Result<bool, StoreError> {
    let mut db = Postgres::connect(url)?;
    let rows = db.query(
        "SELECT CAST(CASE WHEN ssl THEN 1 ELSE 0 END AS BIGINT), COALESCE(version, '') \
         FROM pg_stat_ssl WHERE pid = pg_backend_pid()",
        &[],
    )?;
    let row = rows.first().expect("a row of one's own");
    let encrypted = row.int(0) == 1;
    // Not of a kind that is broken (RFC 8996).
    assert_eq!(encrypted, ["TLSv1.2", "TLSv1.3"].contains(&row.text(1)));
    Ok(encrypted)
}

fn refused(url: &str, why: &str) {
    let error = encrypted(url).expect_err(url);
    assert!(matches!(error, StoreError::Open { .. }), "{url}: {error}");
    assert!(error.to_string().contains(why), "{url}: {error}");
}

#[test]
fn a_server_that_encrypts_is_believed_as_the_address_says() {
    let Some(server) = encrypting() else { return };
    let folder = tempfile::tempdir().unwrap();
    let Some(other) = Certificates::make(folder.path(), "localhost") else {
        return;
    };
    let (root, other) = (server.root().display(), other.root.display().to_string());
    let by_name = server.url_of("localhost", "postgres");
    let by_number = server.url("postgres");
    for (url, wanted) in [
        (by_number.clone(), false),
        (format!("{by_number}?sslmode=disable"), false),
        (format!("{by_number}?sslmode=prefer"), true),
        (format!("{by_number}?sslmode=require"), true),
        (
            format!("{by_number}?sslmode=verify-ca&sslrootcert={root}"),
            true,
        ),
        (
            format!("{by_name}?sslmode=verify-full&sslrootcert={root}"),
            true,
        ),
        (format!("{by_name}?sslrootcert={root}"), true),
    ] {
        assert_eq!(encrypted(&url).unwrap(), wanted, "{url}");
    }
    let named = "made out for another name";
    refused(
        &format!("{by_number}?sslmode=verify-full&sslrootcert={root}"),
        named,
    );
    refused(&format!("{by_number}?sslrootcert={root}"), named);
    for mode in ["require", "verify-ca", "verify-full"] {
        let url = format!("{by_name}?sslmode={mode}&sslrootcert={other}");
        refused(&url, "comes from nobody that the root file");
    }
    refused(
        &format!("{by_name}?sslmode=verify-full"),
        "sslrootcert=FILE",
    );
}

#[test]
fn records_go_both_ways_encrypted() {
    let Some(server) = encrypting() else { return };
    let url = format!(
        "{}?sslmode=verify-full&sslrootcert={}",
        server.url_of("localhost", "postgres"),
        server.root().display()
    );
    let place = Whereabouts::of(Some(&url)).unwrap();
    assert!(!place.to_string().contains("ssl"), "{place}");
    let maker = Maker::new();
    let all: Vec<_> = (0..40).map(|number| maker.record(number)).collect();
    place.open(Access::Write).unwrap().keep_all(&all).unwrap();
    let mut store = place.open(Access::Read).unwrap();
    let checked = store.check().unwrap();
    assert_eq!((checked.records, checked.wrong.as_slice()), (40, &[][..]));
    assert_eq!(store.get("7").unwrap().sealed, all[6]);
}

#[test]
fn a_server_that_does_not_encrypt_is_refused_where_that_is_asked_for() {
    let Some(server) = Server::start() else {
        return;
    };
    let url = server.url("postgres");
    assert!(!encrypted(&format!("{url}?sslmode=prefer")).unwrap());
    assert!(!encrypted(&url).unwrap());
    let root = "/dev/null";
    refused(&format!("{url}?sslmode=require"), "offers no encryption");
    refused(
        &format!("{url}?sslmode=verify-full&sslrootcert={root}"),
        "no certificate in it",
    );
}

/// An address of this machine that is not only its own.
fn on_the_network() -> Option<std::net::IpAddr> {
    // Nothing is sent: an address for documents (RFC 5737) says which way it would go.
    let socket = UdpSocket::bind("0.0.0.0:0").ok()?;
    socket.connect("192.0.2.1:9").ok()?;
    let own = socket.local_addr().ok()?.ip();
    (!own.is_loopback() && !own.is_unspecified()).then_some(own)
}

/// Whatever the server answers, a password leaves this machine encrypted or not at all.
#[test]
fn no_password_goes_over_a_network_in_clear() {
    let Some(own) = on_the_network() else {
        skipped("this machine has no address on a network: give it one");
        return;
    };
    for (more, wanted) in [
        ("", false),
        ("?sslmode=prefer", false),
        ("?sslmode=disable", true),
    ] {
        let listener = TcpListener::bind((own, 0)).unwrap();
        let at = listener.local_addr().unwrap();
        let server = std::thread::spawn(move || {
            let (mut stream, _) = listener.accept().unwrap();
            stream
                .set_read_timeout(Some(Duration::from_secs(10)))
                .unwrap();
            // Length and code of what asks for encryption (PostgreSQL's manual,
            // "Message Formats", SSLRequest; from memory).
            let mut first = [0; 8];
            stream.read_exact(&mut first).unwrap();
            let mut heard = first.to_vec();
            if first == [0, 0, 0, 8, 4, 210, 22, 47] {
                stream.write_all(b"N").unwrap();
                stream.read_to_end(&mut heard).unwrap();
                return heard;
            }
            let mut rest = vec![0; usize::from(first[3]) - 8];
            stream.read_exact(&mut rest).unwrap();
            // "R", length 8, 3: give your password in clear.
            stream.write_all(&[b'R', 0, 0, 0, 8, 0, 0, 0, 3]).unwrap();
            // "p", four bytes of length, five letters, a nought.
            let mut answer = [0; 11];
            stream.read_exact(&mut answer).unwrap();
            heard.extend(answer);
            heard
        });
        let url = format!("postgres://ann:hush!@{at}/r{more}");
        let error = Postgres::connect(&url).expect_err(&url).to_string();
        let heard = server.join().unwrap();
        let told = heard.windows(5).any(|five| five == b"hush!");
        assert_eq!(told, wanted, "{url}: {heard:?}");
        assert_eq!(error.contains("offers no encryption"), !wanted, "{error}");
        assert!(!error.contains("hush!"), "{error}");
    }
}
