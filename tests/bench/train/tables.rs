//! The learned tables as the text of a source file.

use catchword::analysis::keys::N_SIGNS;
use catchword::analysis::net::Net;
use catchword::analysis::sections::Price;

/// Weights are kept in thousandths.
pub fn tables(net: &Net, sections: &[f32], price: Price, keys: &[f32; N_SIGNS], stated: f64, origin: &str) -> String {
    let whole = |values: &[f32]| values.iter().map(|v| ((v * 1000.0).round() as i32).to_string()).collect::<Vec<_>>().join(", ");
    let keys = keys.iter().map(|k| format!("{k:.3}")).collect::<Vec<_>>().join(", ");
    format!(
        "//! What was learned from annotated pieces: written by `cargo bench --bench train_analysis`, not by hand.\n\
         //!\n\
         //! Origin: {origin}.\n\
         //! Only weights are here, in thousandths; nothing of the pieces themselves.\n\n\
         use super::harmony::SHAPE;\nuse super::keys;\nuse super::net::Net;\nuse super::sections::{{self, Price}};\n\n\
         /// A root at least this probable is stated.\npub const STATED_MIN: f64 = {stated:?};\n\n\
         /// What a cut costs and gains; chosen on pieces that the weights had not seen.\n\
         pub const SECTION_PRICE: Price = Price {{ near: {:?}, cut: {:?} }};\n\n\
         /// Weights of the signs of a key, in the order of `keys::signs`.\n\
         pub const KEY_WEIGHTS: [f32; keys::N_SIGNS] = [{keys}];\n\n\
         /// Returns the network that scores chords.\npub fn harmony_net() -> Net {{\n    \
         Net {{ shape: SHAPE, weights: HARMONY.iter().map(|w| f32::from(*w) / 1000.0).collect() }}\n}}\n\n\
         /// Returns the weights of section starts.\npub fn section_weights() -> Vec<f32> {{\n    \
         SECTIONS.iter().map(|w| f32::from(*w) / 1000.0).collect()\n}}\n\n\
         #[rustfmt::skip]\nstatic SECTIONS: [i16; sections::N_NETS * sections::N_WEIGHTS] = [\n{}];\n\n\
         #[rustfmt::skip]\nstatic HARMONY: [i16; {}] = [\n{}];\n",
        price.near,
        price.cut,
        wrapped(&whole(sections)),
        net.weights.len(),
        wrapped(&whole(&net.weights)),
    )
}

/// Breaks a list of numbers into lines of at most 138 characters.
fn wrapped(list: &str) -> String {
    let mut out = String::new();
    let mut line = String::new();
    for item in list.split(", ") {
        if line.len() + item.len() + 1 > 138 {
            out.push_str(&line);
            out.push('\n');
            line.clear();
        }
        line.push_str(item);
        line.push(',');
    }
    out.push_str(&line);
    out.push('\n');
    out
}
