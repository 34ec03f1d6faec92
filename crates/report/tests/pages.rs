//! What holds of every page without a browser; `tests/browser` looks at them in one.

use std::collections::BTreeSet;

use evenstep_audit::{AuditOptions, Subject, audit, traces};
use evenstep_lut::{Lut, Lut3d};
use evenstep_report::{Drawn, audit_html};

/// The page of a small LUT without a panel, under a name.
fn page(name: &str) -> String {
    let lut = Lut::from(Lut3d::from_fn(5, |s| s.map(|v| v * v)));
    let options = AuditOptions::default();
    let correction = lut.evaluated(options.evaluation);
    let subject = Subject::of_lut(&correction, &lut);
    let (report, traces) = (
        audit(&subject, &options, None),
        traces(&subject, &options, None),
    );
    let drawn = Drawn {
        name,
        report: &report,
        traces: &traces,
        lut: &lut,
    };
    audit_html(&[drawn, drawn])
}

#[test]
fn names_cannot_write_into_the_page() {
    let name = "<img src=x onerror=alert(1)>\"'&</script>.cube";
    let text = page(name);
    assert!(!text.contains("<img"), "a name became an element");
    assert_eq!(
        text.matches("</script>").count(),
        text.matches("<script").count()
    );
    assert!(text.contains("&lt;img src=x"));
}

#[test]
fn identifiers_are_unique_and_links_lead_somewhere() {
    let text = page("a.cube");
    let of = |mark: &str| -> Vec<String> {
        text.split(mark)
            .skip(1)
            .filter_map(|rest| Some(rest.split('"').next()?.to_owned()))
            .collect()
    };
    let all = of(" id=\"");
    let distinct: BTreeSet<&String> = all.iter().collect();
    assert_eq!(distinct.len(), all.len(), "{all:?}");
    let links = of("href=\"#");
    assert!(links.len() > 4, "{links:?}");
    assert!(links.iter().all(|l| distinct.contains(l)), "{links:?}");
}

#[test]
fn equal_reports_give_equal_bytes_and_name_no_place_in_a_network() {
    let text = page("a.cube");
    assert_eq!(text, page("a.cube"));
    // The name of SVG's language is no address that anything is asked for.
    let rest = text.replace("http://www.w3.org/2000/svg", "");
    assert!(!rest.contains("http:") && !rest.contains("https:"));
}
