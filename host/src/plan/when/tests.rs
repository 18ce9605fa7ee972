//! Tests of the condition parser.

use super::*;
use proptest::prelude::*;

fn options() -> Vec<OptionQuestion> {
    let option = |name: &str, choices: &[&str]| OptionQuestion {
        name: name.to_owned(),
        ask: "Which?".to_owned(),
        choices: choices.iter().map(|&c| c.to_owned()).collect(),
        default: None,
        when: None,
    };
    vec![
        option("second-battery", &["yes", "no"]),
        option("door", &["hinged", "sliding", "roller shutter"]),
        option("a", &["yes", "no"]),
    ]
}

/// Whether `text` holds for these answers.
fn holds(text: &str, answers: [&str; 3]) -> bool {
    let answers = answers.map(|a| Some(a.to_owned()));
    parse(text, &options()).unwrap().holds(&answers)
}

#[test]
fn follows_the_usual_precedence() {
    let no = ["no", "hinged", "yes"];
    assert!(!holds("second-battery", no));
    assert!(holds("second-battery == no", no));
    assert!(holds("not second-battery and a", no));
    assert!(!holds("not (second-battery or a)", no));
    assert!(holds("second-battery and door == sliding or a", no));
    assert!(!holds("second-battery and (door == sliding or a)", no));
    assert!(holds(
        "door == 'roller shutter'",
        ["no", "roller shutter", "no"]
    ));
    assert!(holds("not door == sliding", no));
}

#[test]
fn an_option_that_does_not_apply_equals_nothing() {
    let expression = parse("a == yes or a == no", &options()).unwrap();
    assert!(!expression.holds(&[None, None, None]));
}

#[test]
fn points_at_the_wrong_part() {
    for (text, part, message, help) in [
        (
            "secnd-battery",
            0..13,
            "no option",
            "did you mean `second-battery`?",
        ),
        (
            "a and bogus-thing",
            6..17,
            "no option",
            "second-battery, door or a",
        ),
        (
            "door == slidng",
            8..14,
            "no answer `slidng`",
            "hinged, sliding",
        ),
        ("a = yes", 2..3, "`=` does not belong", "write `==`"),
        ("a != yes", 2..4, "`!=`", "not option == value"),
        ("a && door", 2..4, "`&&`", "write `and`"),
        ("door", 0..4, "not answered by yes or no", "door == …"),
        ("(a", 0..1, "not closed", "`)`"),
        ("a door", 2..6, "after the end", "`and` or `or`"),
        ("a and", 5..5, "ends too early", "the options are"),
        ("", 0..0, "ends too early", "the options are"),
        ("a == 'yes", 5..9, "not closed", "'"),
        ("door == ü", 8..10, "no answer `ü`", "hinged"),
    ] {
        let complaint = parse(text, &options()).unwrap_err();
        assert_eq!(complaint.part, Some(part), "{text}");
        assert!(complaint.message.contains(message), "{text}: {complaint:?}");
        assert!(complaint.help.unwrap().contains(help), "{text}");
    }
    let deep = "(".repeat(200);
    assert!(
        parse(&deep, &options())
            .unwrap_err()
            .message
            .contains("too deeply")
    );
}

proptest! {
    #[test]
    fn complaints_stay_inside_the_text(
        text in r#"((a|door|second-battery|==|=|and|or|not|\(|\)|yes|hinged|'|ü|"| ){1,2}){0,20}"#,
    ) {
        match parse(&text, &options()) {
            Ok(expression) => {
                let yes = [Some("yes".to_owned()), Some("hinged".to_owned()), None];
                let negated = Expression::Not(Box::new(expression.clone()));
                prop_assert_ne!(expression.holds(&yes), negated.holds(&yes));
            }
            Err(complaint) => {
                let part = complaint.part.unwrap();
                prop_assert!(text.get(part).is_some());
            }
        }
    }
}
