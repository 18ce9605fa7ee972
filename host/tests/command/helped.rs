//! What the help shows works, and completions and manual pages know every verb.

use clap::CommandFactory as _;
use loomproof::commands::Cli;

use crate::support::{command, top};

/// The verbs, by name.
fn verbs() -> Vec<String> {
    let verbs = Cli::command();
    let named = verbs
        .get_subcommands()
        .map(|verb| verb.get_name().to_owned());
    named.filter(|name| name != "help").collect()
}

/// Example lines of a help text: those that begin with the command's name.
fn examples(help: &str) -> Vec<String> {
    let text = help
        .replace("Example: ", "Example:\n")
        .replace("Examples: ", "Examples:\n");
    let mut found: Vec<String> = Vec::new();
    let mut open = false;
    for line in text.lines() {
        let line = line.trim();
        if line.starts_with("loomproof ") {
            found.push(line.to_owned());
            open = true;
        } else if line.is_empty() {
            open = false;
        } else if open && let Some(last) = found.last_mut() {
            // Wrapped.
            last.push(' ');
            last.push_str(line);
        }
    }
    found
}

#[test]
fn every_verb_shows_an_example_that_works() {
    let folder = tempfile::tempdir().unwrap();
    std::os::unix::fs::symlink(
        top().join("fixtures").canonicalize().unwrap(),
        folder.path().join("fixtures"),
    )
    .unwrap();
    let store = folder.path().join("records.sqlite");
    let run = |args: &[&str]| {
        let output = command(args)
            .current_dir(folder.path())
            .env("LOOMPROOF_STORE", &store)
            .output()
            .unwrap();
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        (output.status.code().unwrap(), text, output.stdout)
    };
    // Two runs to look at.
    for seed in ["1", "2"] {
        let plan = "fixtures/plans/smallest.toml";
        let of = ["--unit", "U12", "--batch", "B-17"];
        let args = [&["ringout", plan, "--defaults", "--seed", seed][..], &of].concat();
        assert_eq!(run(&args).0, 0);
    }
    for verb in verbs() {
        let (status, _, help) = run(&[&verb, "--help"]);
        assert_eq!(status, 0);
        let help = String::from_utf8(help).unwrap();
        let examples = examples(&help);
        assert!(!examples.is_empty(), "{verb} has none:\n{help}");
        for example in examples {
            let args: Vec<&str> = example.split_whitespace().skip(1).collect();
            assert_eq!(args[0], verb, "{example}");
            let (status, said, _) = run(&args);
            // A verdict is what it is for; nothing else went wrong.
            assert!([0, 1].contains(&status), "{example}: {status}: {said}");
        }
    }
}

#[test]
fn completions_and_manual_pages_know_every_verb() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let output = command(&["completions", shell]).output().unwrap();
        let script = String::from_utf8(output.stdout).unwrap();
        assert_eq!(output.status.code(), Some(0));
        for verb in verbs() {
            assert!(script.contains(&verb), "{shell}: {verb}");
        }
        assert!(script.contains("attest"), "{shell}");
    }
    let folder = tempfile::tempdir().unwrap();
    let pages = folder.path().join("man1");
    let output = command(&["man", pages.to_str().unwrap()]).output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    for verb in verbs() {
        let page = std::fs::read_to_string(pages.join(format!("loomproof-{verb}.1"))).unwrap();
        assert!(page.contains(".TH"), "{verb}");
        assert!(page.contains("Example"), "{verb}: {page}");
    }
    assert!(
        std::fs::read_to_string(pages.join("loomproof.1"))
            .unwrap()
            .contains("Exit status")
    );
}

/// The completions of bash are a script that bash takes.
#[test]
fn bash_takes_its_completions() {
    let output = command(&["completions", "bash"]).output().unwrap();
    let mut bash = std::process::Command::new("bash")
        .args(["-c", "source /dev/stdin && complete -p loomproof"])
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    std::io::Write::write_all(&mut bash.stdin.take().unwrap(), &output.stdout).unwrap();
    let output = bash.wait_with_output().unwrap();
    assert!(output.status.success());
    assert!(String::from_utf8_lossy(&output.stdout).contains("_loomproof"));
}
