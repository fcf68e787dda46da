//! Findings about outlines, as the geometry gives them, in the words of the check and with what mends them.

use super::{CheckOptions, Finding, FindingKind, Severity, Subject, field_words, mend};
use crate::area::Area;
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::outline::OutlineIndex;
use sparefield_geometry::outline::finding::{self, FindingKind as Found};
use std::sync::Arc;

pub(super) fn look(area: &Area, options: &CheckOptions, found: &mut Vec<Finding>) {
    let fields = area.fields.as_slice();
    let list = finding::findings(fields, &options.outlines);
    // Only gaps need it.
    let mut index: Option<OutlineIndex<Arc<Field>>> = None;
    for finding in list {
        let of = |k: usize| &fields[finding.fields[k]];
        let names = match finding.fields.as_slice() {
            [one] => field_words(&fields[*one]),
            [one, two] => format!("{} and {}", field_words(&fields[*one]), field_words(&fields[*two])),
            _ => continue,
        };
        let words = finding.kind.words();
        let (what, advice) = words.split_once("; ").unwrap_or((&words, ""));
        let (kind, severity, remedy, edit) = match &finding.kind {
            Found::Fault(fault) => (FindingKind::Outline, Severity::Wrong, advice, mend::fault(area, of(0), fault)),
            Found::Spike { corner, .. } => {
                (FindingKind::Spike, Severity::Doubtful, advice, mend::spike(of(0), *corner))
            }
            Found::Sliver { .. } => {
                (FindingKind::Sliver, Severity::Doubtful, "draw it wider, join it to a neighbour or delete it", None)
            }
            Found::Duplicate { .. } => {
                let edit = mend::duplicate(area, of(0), of(1));
                (FindingKind::Duplicate, Severity::Wrong, "delete one of them", edit)
            }
            Found::Overlap { .. } => {
                (FindingKind::Overlap, Severity::Doubtful, "move the corners of one to the boundary of the other", None)
            }
            Found::Gap { .. } => {
                let index = index.get_or_insert_with(|| OutlineIndex::new(fields.to_vec(), Vec::new()));
                let gapped = |a: &Field, b: &Field| {
                    let again = finding::findings(&[a, b], &options.outlines);
                    again.iter().any(|f| f.fields.len() == 2)
                };
                let pair = (finding.fields[0], finding.fields[1]);
                let edit = mend::gap(fields, index, pair, options.outlines.gap_m, gapped);
                let remedy = "move the corners of one onto the other, unless a lane runs between them";
                (FindingKind::Gap, Severity::Doubtful, remedy, edit)
            }
            _ => continue,
        };
        let remedy = if remedy.is_empty() { "draw the outline again" } else { remedy };
        let sentence = format!("{names}: {what}");
        let subjects: Vec<Subject> = finding.ids.iter().cloned().map(Subject::Field).collect();
        let first = Subject::Field(finding.ids[0].clone());
        let made = Finding::about(kind, severity, first, finding.at, sentence, remedy);
        found.push(Finding { subjects, ..made }.with(edit));
    }
}
