//! Solves a house in EPANET's input format and prints it as CSV; the counterpart of `tests/wntr`.
//!
//! `cargo run -p crownweir-sizing --example solve_inp -- house.inp`

#[path = "../tests/inp/mod.rs"]
mod inp;

use crownweir_sizing::{Bounds, Feet, FeetPerSecond, GallonsPerMinute, PascalsPerMeter, Psi};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("give the path of an .inp file")?;
    let house = inp::read(&std::fs::read_to_string(path)?)?;
    let solution = house.network.solve(house.supply, &house.water)?;
    println!("kind,name,lower,upper,also_lower,also_upper");
    let line = |kind: &str, name: &str, a: Bounds, b: Bounds| {
        println!("{kind},{name},{:.12},{:.12},{:.12},{:.12}", a.lo, a.hi, b.lo, b.hi);
    };
    for (node, state) in house.network.nodes.iter().zip(&solution.nodes) {
        // Head in ft, pressure in psi.
        line("node", &node.name, Feet::from(state.head).bounds(), Psi::from(state.pressure).bounds());
    }
    let PascalsPerMeter(weight) = house.water.weight;
    for (link, state) in house.network.links.iter().zip(&solution.links) {
        // Flow in gpm, speed in ft/s (0 for a valve).
        let speed = state.velocity.map_or(Bounds::exactly(0.0), |v| FeetPerSecond::from(v).bounds());
        line("link", &link.name, GallonsPerMinute::from(state.flow).bounds(), speed);
    }
    eprintln!(
        "weight of water {} Pa/m; critical outlet: {}",
        weight.middle(),
        solution.critical.map_or("none", |node| house.network.nodes[node].name.as_str())
    );
    Ok(())
}
