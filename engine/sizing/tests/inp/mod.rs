//! Reads the part of EPANET's input format that the test houses use: junctions, one reservoir, pipes, PRVs; GPM units, one
//! moment in time. For tests only.

use std::f64::consts::PI;

use crownweir_sizing::{
    Bounds, CubicMetersPerSecond, Feet, GallonsPerMinute, HazenWilliams, Inches, Law, Link, Meters, Network,
    Node, Part, Pascals, Pipe, Psi, PsiPerFoot, SquareMetersPerSecond, Water,
};

/// A house as EPANET reckons it.
pub struct House {
    pub network: Network,
    pub supply: Pascals,
    pub water: Water,
}

const FOOT_M: f64 = 0.3048;
/// EPANET's conventions (`epanet` source, `types.h` and `enumstxt.h`): psi a foot, gravity, viscosity of water at 20 C.
const PSI_PER_FOOT: f64 = 0.4333;
const GRAVITY_FT_S2: f64 = 32.2;
const VISCOSITY_FT2_S: f64 = 1.1e-5;
/// It rounds 8 / (pi^2 g) of the velocity head to 0.02517 (`hydcoeffs` and `hydraul`): 1.2e-4 low.
const VELOCITY_HEAD: f64 = 0.02517;

/// Reads a house.
///
/// # Errors
/// What is wrong, with the line.
pub fn read(text: &str) -> Result<House, String> {
    let lines = sections(text);
    let of = |section: &'static str| lines.iter().filter(move |l| l.0 == section).map(|l| &l.1);
    let option = |name: &str| of("OPTIONS").find(|w| w[0] == name).and_then(|w| w.get(1)).cloned();
    if option("UNITS").as_deref() != Some("GPM") {
        return Err("only UNITS GPM is read".into());
    }
    let darcy = match option("HEADLOSS").as_deref() {
        Some("H-W") => false,
        Some("D-W") => true,
        other => return Err(format!("head loss {other:?} is not read")),
    };
    let viscosity = number(&option("VISCOSITY").unwrap_or("1".into()))? * VISCOSITY_FT2_S * FOOT_M * FOOT_M;
    let water = Water {
        weight: PsiPerFoot::exactly(PSI_PER_FOOT).into(),
        viscosity: SquareMetersPerSecond::exactly(viscosity),
        gravity: Bounds::exactly(GRAVITY_FT_S2 * FOOT_M),
    };
    let mut nodes = Vec::new();
    let mut source = None;
    for words in of("RESERVOIRS") {
        source = Some((nodes.len(), number(word(words, 1)?)?));
        nodes.push(node(&words[0], 0.0, 0.0));
    }
    let (source, head_ft) = source.ok_or("no reservoir")?;
    for words in of("JUNCTIONS") {
        nodes.push(node(&words[0], number(word(words, 1)?)?, number(word(words, 2)?)?));
    }
    let find = |name: &str| nodes.iter().position(|n| n.name == name).ok_or(format!("no node {name}"));
    let mut links = Vec::new();
    for words in of("PIPES") {
        let at = |i: usize| word(words, i).and_then(number);
        if word(words, 7)? != "Open" {
            return Err(format!("pipe {} is not open", words[0]));
        }
        let law = if darcy {
            // Roughness in thousandths of a foot.
            Law::SwameeJain { roughness_m: at(5)? * 1e-3 * FOOT_M, viscosity_m2_s: viscosity }
        } else {
            Law::HazenWilliams { c: Bounds::exactly(at(5)?), form: HazenWilliams::Epanet }
        };
        let pipe = Pipe {
            inside: Inches::exactly(at(4)?).into(),
            length: Feet::exactly(at(3)?).into(),
            equivalent: Meters::exactly(0.0),
            minor: Bounds::exactly(at(6)? * VELOCITY_HEAD * PI * PI * GRAVITY_FT_S2 / 8.0),
            law,
        };
        links.push(Link {
            name: words[0].clone(),
            from: find(&words[1])?,
            to: find(&words[2])?,
            part: Part::Pipe(pipe),
        });
    }
    for words in of("VALVES") {
        if word(words, 4)? != "PRV" || number(word(words, 6)?)? != 0.0 {
            return Err(format!("valve {} is no PRV without loss", words[0]));
        }
        let setting = Psi::exactly(number(word(words, 5)?)?).into();
        let part = Part::Reducer { setting, falloff: None, open: None };
        links.push(Link { name: words[0].clone(), from: find(&words[1])?, to: find(&words[2])?, part });
    }
    let supply = Pascals::from(Psi::exactly(head_ft * PSI_PER_FOOT));
    Ok(House { network: Network { nodes, links, source }, supply, water })
}

fn node(name: &str, elevation_ft: f64, gpm: f64) -> Node {
    Node {
        name: name.to_owned(),
        elevation: Feet::exactly(elevation_ft).into(),
        demand: CubicMetersPerSecond::from(GallonsPerMinute::exactly(gpm)),
        needs: (gpm > 0.0).then_some(Psi::exactly(8.0).into()),
    }
}

/// (section, words) of each line that says something.
fn sections(text: &str) -> Vec<(String, Vec<String>)> {
    let mut section = String::new();
    let mut lines = Vec::new();
    for line in text.lines() {
        let line = line.split(';').next().unwrap_or("").trim();
        if let Some(name) = line.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
            section = name.to_owned();
        } else if !line.is_empty() {
            lines.push((section.clone(), line.split_whitespace().map(str::to_owned).collect()));
        }
    }
    lines
}

fn word(words: &[String], at: usize) -> Result<&str, String> {
    words.get(at).map(String::as_str).ok_or(format!("too few words in: {}", words.join(" ")))
}

fn number(text: &str) -> Result<f64, String> {
    text.parse().map_err(|e| format!("{text}: {e}"))
}
