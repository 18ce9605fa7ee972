//! `docs/outside-checks.md`, made of the checks themselves.

use std::fmt::Write as _;

use super::check::Check;

const HEAD: &str = "# Outside checks

Written by

```sh
cargo run --release -p loomproof-tests --example outside_checks -- --write docs/outside-checks.md
```

and held by a test: this page is what the checks in [tests/outside/](../tests/outside/mod.rs) say now.

*Theirs* was not computed by loomproof; *ours* is what loomproof computes when this page is written. Status: **read**, seen in the source named, sometimes a page that quotes it; **ran**, computed beforehand with a program or formula that is not the code under test; **memory**, not read: plausibility only. *Off* is ours beside theirs, as a share or in the unit of the value. *Allowed* as a range of percentages: theirs is an upper bound, and ours must lie in that range of it. Of several solvers ours is the one farthest off. A test is `FILE::NAME` in `tests/outside/`: `cargo test --release -p loomproof-tests --lib outside::FILE`.
";

/// The page.
#[must_use]
pub fn page() -> String {
    let mut text = HEAD.to_owned();
    let mut count = 0;
    let mut body = String::new();
    for (file, title, checks) in super::sources() {
        count += checks.len();
        let _ = write!(body, "\n## {title}\n");
        let mut source = "";
        for check in in_order(&checks) {
            if check.source != source {
                source = check.source;
                let _ = write!(
                    body,
                    "\nSource: {source}.\n\n| what | status | theirs | ours | off | allowed | test |\n| --- | --- | --- | --- | --- | --- | --- |\n"
                );
            }
            body.push_str(&check.row(file));
        }
    }
    let _ = write!(text, "\n{count} values:\n");
    text.push_str(&body);
    text.push_str(&super::programs::section());
    text
}

/// The checks, those of one source together, in the order of their first.
fn in_order(checks: &[Check]) -> Vec<&Check> {
    let mut sources: Vec<&str> = Vec::new();
    for check in checks {
        if !sources.contains(&check.source) {
            sources.push(check.source);
        }
    }
    let of = |source| checks.iter().filter(move |check| check.source == source);
    sources.into_iter().flat_map(of).collect()
}

#[cfg(test)]
mod tests {
    use crate::skip::top;

    #[test]
    fn the_page_is_what_the_checks_say_now() {
        let kept = std::fs::read_to_string(top().join("docs/outside-checks.md")).unwrap();
        let now = super::page();
        let differs = kept.lines().zip(now.lines()).find(|(a, b)| a != b);
        assert!(
            kept == now,
            "write the page anew with the example `outside_checks`; first difference: {differs:?}"
        );
        assert!(!now.contains("**missed**"));
    }
}
