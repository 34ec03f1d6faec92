use std::collections::BTreeMap;

use serde::Serialize;

/// Reasons for the `null` fields beside it, by field name.
pub(crate) type Why = BTreeMap<&'static str, &'static str>;

/// Pretty JSON with a line end. Members stand in the order of the type's fields.
pub(crate) fn pretty(document: &impl Serialize) -> String {
    // Fails only for maps whose keys are not text and for types that refuse to serialise; reports have neither.
    let mut text = serde_json::to_string_pretty(document).unwrap_or_default();
    text.push('\n');
    text
}
