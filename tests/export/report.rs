//! The report of the demo: its numbers are those of the demo's script, and it says nothing it must not.

use std::process::Command;

use super::sample;
use crate::common::{folder, root, shedlight};

fn demo() -> String {
    let folder = folder();
    let out = folder.path().join("r.html");
    // The study is named as it would be typed, so that every machine gives the same bytes.
    let ran = Command::new(env!("CARGO_BIN_EXE_shedlight"))
        .current_dir(root())
        .args(["report", "sample-codings", "--date", "2025-04-10", "--out"])
        .arg(&out)
        .output()
        .unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    std::fs::read_to_string(out).unwrap()
}

/// Rows of a table by words of its caption: the text of each cell.
fn table(html: &str, caption: &str) -> Vec<Vec<String>> {
    let found = html.split("<table>").find(|part| {
        part.split("</caption>")
            .next()
            .is_some_and(|head| head.contains("<caption") && head.contains(caption))
    });
    let body = found.unwrap_or_else(|| panic!("no table {caption}")).split("<tbody>").nth(1).unwrap();
    let body = body.split("</tbody>").next().unwrap();
    body.split("</tr>").filter(|row| row.contains("<tr>")).map(cells).collect()
}

fn cells(row: &str) -> Vec<String> {
    let row = row.replace("</th>", "</td>").replace("<tr>", "");
    let mut found: Vec<String> =
        row.split("</td>").map(|cell| without_tags(cell).trim().to_owned()).collect();
    let _ = found.pop();
    found
}

fn without_tags(text: &str) -> String {
    let mut inside = false;
    let keep = |c: &char| {
        match c {
            '<' => inside = true,
            '>' => {
                inside = false;
                return false;
            }
            _ => {}
        }
        !inside
    };
    text.chars().filter(keep).collect()
}

fn column(rows: &[Vec<String>], at: usize) -> Vec<&str> {
    rows.iter().map(|row| row[at].as_str()).collect()
}

#[test]
fn the_figures_of_the_demo_are_those_of_its_script() {
    let html = demo();
    let effort = table(&html, "Effort");
    assert_eq!(
        column(&effort, 3),
        ["612.0", "845.0", "588.0", "903.0", "431.0", "640.0", "2743.0", "1276.0"]
    );
    assert_eq!(
        column(&effort, 4),
        ["570.0", "780.0", "570.0", "780.0", "420.0", "630.0", "2550.0", "1200.0"]
    );
    assert_eq!(column(&effort, 5)[..6], ["6.9 %", "7.7 %", "3.1 %", "13.6 %", "2.6 %", "1.6 %"]);
    assert_eq!(column(&effort, 7)[..6], ["10", "10", "10", "8", "6", "10"]);
    let bramble = table(&html, "Time budget of Bramble");
    assert_eq!(column(&bramble, 2), ["23.5 %", "26.8 %", "19.4 %", "9.5 %", "10.7 %", "10.1 %", "0.0 %"]);
    assert_eq!(bramble[5][3], "10.5, 3.2, 21.8, 1.6; from 1.6 to 21.8 %");
    let sorrel = table(&html, "Time budget of Sorrel");
    assert_eq!(column(&sorrel, 2), ["23.7 %", "31.5 %", "16.7 %", "11.0 %", "7.0 %", "8.2 %", "2.0 %"]);
    let approach = table(&html, "Approach and retreat onsets");
    assert_eq!(column(&approach, 2)[..6], ["9", "11", "12", "8", "6", "13"]);
    assert_eq!(column(&approach, 3)[..6], ["6", "4", "3", "8", "7", "2"]);
    assert_eq!(column(&approach, 4)[..6], ["0.60", "0.73", "0.80", "0.50", "0.46", "0.87"]);
    assert_eq!(column(&approach, 5)[..6], ["+0.20", "+0.47", "+0.60", "0.00", "−0.08", "+0.73"]);
    assert_eq!(column(&approach, 8)[..6], ["0.40", "0.20", "0.10", "0.44", "0.43", "0.10"]);
    let success = table(&html, "Presentations: success");
    assert_eq!(column(&success, 3)[..6], ["5 of 10", "6 of 10", "9 of 10", "4 of 8", "3 of 6", "9 of 10"]);
    assert_eq!(success[0][4], "[0.24, 0.76]");
    assert_eq!(success[4][4], "[0.19, 0.81]");
    let orient = table(&html, "from the cue to orient");
    assert_eq!(column(&orient, 3)[..6], ["3.1", "1.0", "1.6", "4.4", "1.3", "1.3"]);
    let contact = table(&html, "from the cue to contact");
    assert_eq!(
        column(&contact, 3)[..6],
        ["52.5", "14.4", "14.0", "—(median not reached)", "—(median not reached)", "12.8"]
    );
    let food = table(&html, "Food as reinforcer");
    assert_eq!(column(&food, 3), ["5", "6", "9", "4", "3", "9"]);
    assert_eq!(column(&food, 4), ["10.0", "3.0", "18.0", "8.0", "1.5", "18.0"]);
    let pauses = table(&html, "how often food came");
    assert_eq!(column(&pauses, 6)[..6], ["0.49", "0.43", "0.92", "0.27", "0.42", "0.84"]);
    let concern = table(&html, "Time and incidents");
    assert_eq!(column(&concern, 2)[..6], ["7", "4", "2", "9", "6", "2"]);
    assert_eq!(column(&concern, 6), ["0", "0", "0", "0", "2", "0", "0", "2"]);
    assert_eq!(concern[6][11], "[0.0, 5.2]");
    assert_eq!(concern[7][10..12], ["6.0", "[0.7, 21.7]"]);
    assert!(html.contains("0 seen in 0.71 visible h is compatible with up to 5.2 per h"));
    let resumed = table(&html, "After a disturbance");
    assert_eq!(column(&resumed, 2), ["148.0", "96.0"]);
}

#[test]
fn every_stop_incident_and_every_deviation_is_a_row_with_its_moment() {
    let html = demo();
    let incidents = table(&html, "Every stop-level incident");
    assert_eq!(incidents.len(), 2);
    assert!(
        incidents[0][1].starts_with("4:31.0 shedlight sample-codings --session s5 --at 271"),
        "{:?}",
        incidents[0]
    );
    assert_eq!(incidents[0][4], "between presentations; handler: Reach in");
    assert_eq!(incidents[0][5..7], ["backed off, over the target of 5.0 s", "9.8"]);
    assert!(incidents[1][1].starts_with("6:22.2 "), "{:?}", incidents[1]);
    assert!(incidents[1][4].starts_with("presentation 7, 10.2 s after the cue"), "{:?}", incidents[1]);
    assert_eq!(incidents[1][5..7], ["backed off, within the target of 5.0 s", "2.4"]);
    assert_eq!(incidents[1][8], "step back: two stop-level displays; vet check asked");
    assert!(
        html.contains("Back-off latencies: 9.8 s, 2.4 s; the longest 9.8 s; 1 of 2 within the house target.")
    );
    let deviations = table(&html, "Deviations");
    let continued: Vec<_> =
        deviations.iter().filter(|row| row[2].starts_with("continued after stop")).collect();
    assert_eq!(continued.len(), 2);
    assert!(continued[0][1].starts_with("5:10.0 ") && continued[0][2].contains("presentation 6"));
    assert!(continued[1][1].starts_with("6:12.0 ") && continued[1][2].contains("presentation 7"));
    assert!(html.contains("href=\"shedlight:open?study=sample-codings&amp;session=s5&amp;at=271\""));
}

#[test]
fn agreement_is_that_of_the_script_and_never_of_the_trial_pooled() {
    let html = demo();
    assert!(html.contains("2 of 6 counted sessions were coded by a second person (33.3 %)"));
    let s3 = table(&html, "Session s3, states in time");
    let activity = s3.iter().find(|row| row[0] == "Activity, all").unwrap();
    assert_eq!(
        (activity[4].as_str(), activity[5].as_str(), activity[7].as_str()),
        ("0.923", "0.903", "0.991")
    );
    let s5 = table(&html, "Session s5, states in time: K-07 with K-12");
    let activity = s5.iter().find(|row| row[0] == "Activity, all").unwrap();
    assert_eq!(
        (activity[4].as_str(), activity[5].as_str(), activity[7].as_str()),
        ("0.790", "0.734", "0.976")
    );
    let at = s5.iter().position(|row| row[0] == "Activity, all").unwrap();
    let kappas: Vec<&str> = s5[at + 1..=at + 7].iter().map(|row| row[5].as_str()).collect();
    assert_eq!(kappas, ["0.72", "0.62", "0.86", "0.72", "0.98", "0.72", "0.76"]);
    let moments = table(&html, "Session s5, moments and onsets: K-07 with K-12");
    let row = moments.iter().find(|row| row[0] == "Retreat start").unwrap();
    assert_eq!(row[1..5], ["5", "2", "1", "0.62"]);
}

#[test]
fn sections_stand_in_their_order_and_cautions_are_there() {
    let html = demo();
    let mut last = 0;
    for head in [
        "1 What this report is",
        "2 Read this first",
        "3 Animals and conditions",
        "4 Plan steps and decisions",
        "5 Methods",
        "6 Effort",
        "7 Time budget",
        "8 Approach and retreat",
        "9 Success, refusals, opt-outs",
        "10 Latencies",
        "11 Concern",
        "12 Food used and budget",
        "13 Agreement between coders",
        "14 Deviations and limits",
        "15 Actions",
        "16 Sign-off",
        "Appendix A",
        "Appendix B",
        "Appendix C",
        "Appendix D",
    ] {
        let at = html.find(&format!("-head\">{head}")).unwrap_or_else(|| panic!("no {head}"));
        assert!(at > last, "{head}");
        last = at;
    }
    for caution in [
        "not a diagnosis",
        "licensed veterinarian",
        "Venomous animals",
        "Salmonella",
        "ethics approval",
        "Filmed people",
    ] {
        assert!(html.contains(caution), "{caution}");
    }
}

#[test]
fn it_never_says_what_an_animal_feels_or_that_all_is_well() {
    let text = without_tags(&demo()).to_lowercase();
    for word in [
        "happy",
        "afraid",
        "fear",
        "consent",
        "stress",
        "enjoy",
        "stubborn",
        "aggressive",
        "obedien",
        "comfortable",
        "welfare is good",
        "good welfare",
        "caused by",
        "because of the training",
        "p-value:",
        "p =",
        "p <",
        "significant",
    ] {
        assert!(!text.contains(word), "{word}");
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    assert_eq!(demo(), demo());
}

#[cfg(not(feature = "pdf"))]
#[test]
fn a_pdf_needs_its_feature() {
    let folder = folder();
    let out = folder.path().join("r.pdf");
    let ran = shedlight(&["report", sample().to_str().unwrap(), "--out", out.to_str().unwrap()]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("needs the feature 'pdf'"), "{}", ran.err);
    assert!(!out.exists());
}

#[test]
fn a_report_of_one_animal_holds_nothing_of_the_other() {
    let folder = folder();
    let out = folder.path().join("r.html");
    let (study, target) = (sample(), out.to_str().unwrap());
    let ran = shedlight(&[
        "report",
        study.to_str().unwrap(),
        "--out",
        target,
        "--date",
        "2025-04-10",
        "--animal",
        "bramble",
        "--from",
        "2025-03-10",
    ]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let html = std::fs::read_to_string(out).unwrap();
    assert!(!html.contains("Sorrel") && html.contains("2025-03-13 to 2025-04-03"));
    assert!(html.contains("None."), "no stop-level incident in it");
}
