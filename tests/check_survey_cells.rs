//! Survey files as people write them: what stands for "not read", units below the headings, pads with their rail, titles.

use railtrue::input::survey::{Survey, read_survey};
use railtrue::input::{Plan, read_plan};

fn plan() -> Plan {
    read_plan(include_str!("../examples/panel-bridge.toml"), "plan.toml").unwrap_or_else(|e| panic!("{e}"))
}

const HEAD: &str = "# u_point_mm = 0.02\n# u_gauge_mm = 0.02\n";

fn read(text: &str) -> Survey {
    read_survey(format!("{HEAD}{text}").as_bytes(), "s.csv", &plan(), &[], &[]).unwrap_or_else(|e| panic!("{e}"))
}

fn problems(text: &str) -> String {
    read_survey(format!("{HEAD}{text}").as_bytes(), "s.csv", &plan(), &[], &[]).unwrap_err().to_string()
}

/// Rail, station and value of each reading.
fn values(text: &str) -> Vec<(Option<usize>, f64, f64)> {
    read(text).readings.iter().map(|r| (r.rail, r.x_mm, (r.value * 1e9).round() / 1e9)).collect()
}

const PLAIN: &str = "rail,station,lateral,vertical\nA,0,0.1,\nA,500,,0.2\nB,1000,0.3,-0.4\n";

#[test]
fn check_what_stands_for_not_read_is_empty() {
    let expected = values(PLAIN);
    assert_eq!(expected.len(), 4);
    for word in ["-", "---", "\u{2013}", "n/a", "N/A", "#N/A", "NaN", "nan"] {
        let text = PLAIN.replace("0.1,\n", &format!("0.1,{word}\n")).replace("500,,", &format!("500,{word},"));
        assert_eq!(values(&text), expected, "{word}");
    }
    assert!(problems(&PLAIN.replace("500,,", "500,none,")).contains("this is no number"));
}

#[test]
fn check_a_row_of_units_below_the_headings_counts() {
    let text = PLAIN.replace("vertical\n", "vertical\n,mm,um,[mm]\n");
    let expected: Vec<_> = values(PLAIN).into_iter().collect();
    let scaled: Vec<f64> = values(&text).into_iter().map(|(_, _, v)| v).collect();
    assert_eq!(scaled, [0.0001, 0.2, 0.0003, -0.4]);
    assert_eq!(expected.iter().map(|(_, _, v)| *v).collect::<Vec<_>>(), [0.1, 0.2, 0.3, -0.4]);
    // What the heading itself says goes before it; a row that is none of units is one of readings.
    let both = PLAIN.replace("lateral,vertical\n", "lateral_um,vertical\n-,m,mm,mm\n").replace(",500,", ",0.5,").replace(",1000,", ",1,");
    assert_eq!(
        values(&both).iter().map(|(_, x, v)| (*x, *v)).collect::<Vec<_>>(),
        [(0.0, 0.0001), (500.0, 0.2), (1000.0, 0.0003), (1000.0, -0.4)]
    );
    assert!(problems(&PLAIN.replace("vertical\n", "vertical\n,mm,ells,mm\n")).contains("this is no number"));
}

#[test]
fn check_pads_may_carry_their_rail() {
    let expected = [(Some(0), 0.0, 0.1), (Some(1), 6500.0, -0.2)];
    for text in [
        "rail,pad,lateral\nA,1,0.1\nB,14,-0.2\n",
        "rail,pad,lateral\nA,A1,0.1\nB,B14,-0.2\n",
        "pad,lateral\nA1,0.1\nB14,-0.2\n",
        "pad,lateral\na-1,0.1\nB 14,-0.2\n",
    ] {
        assert_eq!(values(text), expected, "{text}");
    }
    assert!(problems("rail,pad,lateral\nA,B1,0.1\n").contains("this pad is of the other rail"));
    assert!(problems("pad,lateral\nA1,0.1\n2,0.2\n").contains("the rail is missing"));
    assert!(problems("pad,lateral\nA1,0.1\nB15,0.2\nC2,0.3\n").matches("expected: a pad from 1 to 14").count() == 2);
    assert!(problems("pad,lateral\n1,0.1\n").contains("no column tells which rail"));
}

#[test]
fn check_lines_above_the_headings_are_passed_over_and_said() {
    let expected = values(PLAIN);
    let titled = format!("Rails of hall 3, second survey\nMeasured by; two people, in the morning\n\n{PLAIN}");
    let survey = read(&titled);
    assert_eq!(values(&titled), expected);
    assert!(survey.understood.iter().any(|u| u == "lines above the headings, not used: 2"), "{:?}", survey.understood);
    assert!(!read(PLAIN).understood.iter().any(|u| u.contains("not used")));
    // A title with other separators than the table.
    let other = format!("a;b;c;d;e\n{PLAIN}");
    assert_eq!(values(&other), expected);
}
