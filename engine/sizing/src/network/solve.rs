//! From demands to flows to the pressure left.

use super::layout::Layout;
use super::ring::{self, RingPipe};
use super::{MOST_RING_NODES, Network, NetworkError, Part};
use crate::Bounds;
use crate::pipe::Pipe;
use crate::quantity::{
    CubicMetersPerSecond, Meters, MetersPerSecond, Pascals, Unusable, above_zero, finite, not_negative,
    within_reach,
};
use crate::viscosity::Water;

/// Residuals of a ring above this make its bounds useless, and mean that the iteration failed.
const MOST_RESIDUAL_PA: f64 = 100.0;

/// What is known of a node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NodeState {
    /// Gauge pressure. Below zero: the demands given cannot all be drawn.
    pub pressure: Pascals,
    /// Height to which the water would rise, over the datum of the elevations.
    pub head: Meters,
    /// Pressure over what the outlet needs; none for a joint.
    pub left: Option<Pascals>,
}

/// What is known of a link.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinkState {
    /// Flow from `from` to `to`, negative when it runs the other way.
    pub flow: CubicMetersPerSecond,
    /// Pressure lost between `from` and `to` besides height, negative when the flow runs the other way.
    pub loss: Pascals,
    /// Speed without direction; none for a device.
    pub velocity: Option<MetersPerSecond>,
}

/// A solved network, in the order of its nodes and links.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Nodes.
    pub nodes: Vec<NodeState>,
    /// Links.
    pub links: Vec<LinkState>,
    /// Outlet with the least pressure left over its need, by the lower bound.
    pub critical: Option<usize>,
    feed: Vec<Option<(usize, usize)>>,
}

impl Solution {
    /// Links that lead from the supply to a node, first to last; in a ring the way with the fewest links.
    pub fn path(&self, node: usize) -> Vec<usize> {
        let mut path = Vec::new();
        let mut at = node;
        while let Some(Some((link, parent))) = self.feed.get(at) {
            path.push(*link);
            at = *parent;
        }
        path.reverse();
        path
    }
}

impl Network {
    /// Pressure at every node when `supply` stands at the source while all demands are drawn.
    ///
    /// # Errors
    /// Piping that does not hang together, inputs out of range, devices in rings, curves that end too early.
    pub fn solve(&self, supply: Pascals, water: &Water) -> Result<Solution, NetworkError> {
        let layout = Layout::of(self)?;
        self.check(supply, water)?;
        Pass { network: self, layout, water }.run(supply.bounds())
    }

    fn check(&self, supply: Pascals, water: &Water) -> Result<(), NetworkError> {
        let at = |name: &str| {
            let at = name.to_owned();
            move |cause| NetworkError::Input { at, cause }
        };
        finite("pressure", supply.bounds(), "Pa").map_err(at("the supply"))?;
        above_zero("weight", water.weight.bounds(), "Pa/m").map_err(at("the water"))?;
        for node in &self.nodes {
            finite("elevation", node.elevation.bounds(), "m").map_err(at(&node.name))?;
            not_negative("demand", node.demand.bounds(), "m3/s").map_err(at(&node.name))?;
            if let Some(needs) = node.needs {
                finite("pressure needed", needs.bounds(), "Pa").map_err(at(&node.name))?;
            }
        }
        for link in &self.links {
            match &link.part {
                Part::Pipe(pipe) => pipe.check(water).map_err(at(&link.name))?,
                Part::Device(_) => {}
                Part::Reducer { setting, .. } => {
                    not_negative("setting", setting.bounds(), "Pa").map(drop).map_err(at(&link.name))?;
                }
            }
        }
        Ok(())
    }
}

struct Pass<'a> {
    network: &'a Network,
    layout: Layout,
    water: &'a Water,
}

/// A group of rings solved: pressure of each node against the group's root, height left out.
type Drops = Vec<Option<Bounds>>;

impl Pass<'_> {
    fn run(self, supply: Bounds) -> Result<Solution, NetworkError> {
        let below = self.drawn_below();
        let mut drops: Drops = vec![None; self.network.nodes.len()];
        for group in 0..self.layout.roots.len() {
            self.solve_group(group, &below, &mut drops)?;
        }
        let levels = self.levels(supply, &below, &drops)?;
        self.states(&below, &drops, &levels)
    }

    /// For each node: its demand and that of all behind it, rings not passed on to the way that feeds them but counted
    /// once at the group's root.
    fn drawn_below(&self) -> Vec<Bounds> {
        let mut below: Vec<Bounds> = self.network.nodes.iter().map(|n| n.demand.bounds()).collect();
        for &node in self.layout.order.iter().rev() {
            if let Some((_, parent)) = self.layout.feed[node] {
                below[parent] = below[parent].add(below[node]).not_negative();
            }
        }
        below
    }

    /// What a node of a ring draws off the rings: its own demand and that of the branches that hang on it.
    fn off_the_ring(&self, node: usize, below: &[Bounds]) -> Bounds {
        let own = self.network.nodes[node].demand.bounds();
        let hanging = (0..below.len()).filter(|&child| {
            self.layout.feed[child].is_some_and(|(link, parent)| parent == node && !self.layout.in_ring[link])
        });
        hanging.fold(own, |sum, child| sum.add(below[child])).not_negative()
    }

    /// Pressures of a group of rings against its root. Any demand moves every pressure down, so the greatest demands give
    /// the lower ends and the least ones the upper.
    fn solve_group(&self, group: usize, below: &[Bounds], drops: &mut Drops) -> Result<(), NetworkError> {
        let members: Vec<usize> =
            self.layout.order.iter().copied().filter(|&n| self.layout.group[n] == Some(group)).collect();
        if members.len() > MOST_RING_NODES {
            return Err(NetworkError::RingTooLarge { nodes: members.len() });
        }
        let draws: Vec<Bounds> = members.iter().map(|&n| self.off_the_ring(n, below)).collect();
        let most = self.settle(&members, draws.iter().map(|d| d.hi).collect())?;
        let least = self.settle(&members, draws.iter().map(|d| d.lo).collect())?;
        for ((&node, low), high) in members.iter().zip(most).zip(least) {
            drops[node] = Some(Bounds { lo: low.lo, hi: high.hi });
        }
        Ok(())
    }

    /// Pressures against the root for given draws, by the check described at the top of the module.
    fn settle(&self, members: &[usize], draws: Vec<f64>) -> Result<Vec<Bounds>, NetworkError> {
        let local = |node: usize| members.iter().position(|&m| m == node).unwrap_or(0);
        let links: Vec<(usize, RingPipe<'_>)> = self.ring_pipes(members[0], local)?;
        let pipes: Vec<&RingPipe<'_>> = links.iter().map(|(_, pipe)| pipe).collect();
        let flow = ring::flows(&pipes, &draws, self.water);
        let mut through: Vec<Bounds> = draws.into_iter().map(Bounds::exactly).collect();
        let chords = || links.iter().zip(&flow).filter(|((index, _), _)| self.layout.chords.contains(index));
        for ((_, pipe), &q) in chords() {
            through[pipe.from] = through[pipe.from].add(Bounds::exactly(q));
            through[pipe.to] = through[pipe.to].sub(Bounds::exactly(q));
        }
        for at in (1..members.len()).rev() {
            if let Some((_, parent)) = self.layout.feed[members[at]] {
                through[local(parent)] = through[local(parent)].add(through[at]);
            }
        }
        let mut drop = vec![Bounds::exactly(0.0); members.len()];
        for at in 1..members.len() {
            if let Some((link, parent)) = self.layout.feed[members[at]] {
                let loss = links
                    .iter()
                    .find(|(index, _)| *index == link)
                    .map(|(_, p)| self.signed(p.pipe, through[at]));
                drop[at] = drop[local(parent)].sub(loss.unwrap_or(Bounds::exactly(0.0)));
            }
        }
        let mut residual = 0.0f64;
        for ((_, pipe), &q) in chords() {
            let left = drop[pipe.from].sub(drop[pipe.to]).sub(self.signed(pipe.pipe, Bounds::exactly(q)));
            residual = (residual + left.magnitude()).next_up();
        }
        if residual.is_nan() || residual > MOST_RESIDUAL_PA {
            let node = self.network.nodes[members[0]].name.clone();
            return Err(NetworkError::NotSettled { node, residual_pa: residual });
        }
        let far = Bounds { lo: -residual, hi: residual };
        Ok(drop.into_iter().enumerate().map(|(at, d)| if at == 0 { d } else { d.add(far) }).collect())
    }

    fn ring_pipes(
        &self,
        root: usize,
        local: impl Fn(usize) -> usize,
    ) -> Result<Vec<(usize, RingPipe<'_>)>, NetworkError> {
        let mut pipes = Vec::new();
        for (index, link) in self.network.links.iter().enumerate() {
            if !(self.layout.in_ring[index] && self.layout.group[link.from] == self.layout.group[root]) {
                continue;
            }
            let Part::Pipe(pipe) = &link.part else { continue };
            above_zero("length of a pipe in a ring", pipe.length.bounds(), "m")
                .map_err(|cause| NetworkError::Input { at: link.name.clone(), cause })?;
            pipes.push((index, RingPipe { from: local(link.from), to: local(link.to), pipe }));
        }
        Ok(pipes)
    }

    /// Loss along a pipe for a flow of either direction; it rises with the flow throughout.
    fn signed(&self, pipe: &Pipe, q: Bounds) -> Bounds {
        let at = |q: f64| {
            let loss = pipe.total(Bounds::exactly(q.abs()), self.water);
            if q < 0.0 { loss.negated() } else { loss }
        };
        Bounds { lo: at(q.lo).lo, hi: at(q.hi).hi }
    }

    /// Pressure of each node referred to the height of the source.
    fn levels(&self, supply: Bounds, below: &[Bounds], drops: &Drops) -> Result<Vec<Bounds>, NetworkError> {
        let mut levels = vec![supply; self.network.nodes.len()];
        for &node in &self.layout.order {
            let Some((index, parent)) = self.layout.feed[node] else { continue };
            let link = &self.network.links[index];
            if let (Some(group), Some(drop)) = (self.layout.group[node], drops[node])
                && self.layout.in_ring[index]
            {
                levels[node] = levels[self.layout.roots[group]].add(drop);
                continue;
            }
            let (before, q) = (levels[parent], below[node]);
            let curve = |curve: &crate::LossCurve| {
                curve
                    .loss(CubicMetersPerSecond(q))
                    .map(Pascals::bounds)
                    .map_err(|cause| NetworkError::Curve { at: link.name.clone(), cause })
            };
            let optional = |c: &Option<crate::LossCurve>| c.as_ref().map_or(Ok(Bounds::exactly(0.0)), curve);
            levels[node] = match &link.part {
                Part::Pipe(pipe) => before.sub(pipe.total(q, self.water)),
                Part::Device(loss) => before.sub(curve(loss)?),
                Part::Reducer { setting, falloff, open } => {
                    let set = setting.bounds().sub(optional(falloff)?).add(self.column(node));
                    before.sub(optional(open)?).least(set)
                }
            };
        }
        Ok(levels)
    }

    /// Pressure of the water between the source's height and a node's.
    fn column(&self, node: usize) -> Bounds {
        let source = self.network.nodes[self.network.source].elevation.bounds();
        if node == self.network.source {
            return Bounds::exactly(0.0);
        }
        self.network.nodes[node].elevation.bounds().sub(source).mul(self.water.weight.bounds())
    }

    fn states(&self, below: &[Bounds], drops: &Drops, levels: &[Bounds]) -> Result<Solution, NetworkError> {
        let fault = |at: &str| {
            let at = at.to_owned();
            move |cause: Unusable| NetworkError::Input { at, cause }
        };
        let mut nodes = Vec::with_capacity(levels.len());
        let source_height = self.network.nodes[self.network.source].elevation.bounds();
        for (index, node) in self.network.nodes.iter().enumerate() {
            let pressure = within_reach("pressure", levels[index].sub(self.column(index)), "Pa")
                .map_err(fault(&node.name))?;
            let head = levels[index].div(self.water.weight.bounds()).add(source_height);
            let left = node.needs.map(|needs| Pascals(pressure.sub(needs.bounds())));
            nodes.push(NodeState { pressure: Pascals(pressure), head: Meters(head), left });
        }
        let mut links = Vec::with_capacity(self.network.links.len());
        for (index, link) in self.network.links.iter().enumerate() {
            let (flow, loss) = self.passing(index, below, drops, levels);
            let flow = within_reach("flow", flow, "m3/s").map_err(fault(&link.name))?;
            let loss = within_reach("loss", loss, "Pa").map_err(fault(&link.name))?;
            let velocity = match &link.part {
                Part::Pipe(pipe) => Some(MetersPerSecond(pipe.velocity(without_direction(flow)))),
                Part::Device(_) | Part::Reducer { .. } => None,
            };
            links.push(LinkState { flow: CubicMetersPerSecond(flow), loss: Pascals(loss), velocity });
        }
        let lowest = |index: &usize| nodes[*index].left.map_or(f64::INFINITY, |left| left.bounds().lo);
        let critical = (0..nodes.len())
            .filter(|&index| nodes[index].left.is_some())
            .min_by(|a, b| lowest(a).total_cmp(&lowest(b)));
        Ok(Solution { nodes, links, critical, feed: self.layout.feed.clone() })
    }

    /// Flow and loss of a link, from -> to.
    fn passing(&self, index: usize, below: &[Bounds], drops: &Drops, levels: &[Bounds]) -> (Bounds, Bounds) {
        let link = &self.network.links[index];
        if let (true, Part::Pipe(pipe), Some(a), Some(b)) =
            (self.layout.in_ring[index], &link.part, drops[link.from], drops[link.to])
        {
            let loss = a.sub(b);
            let flow = Bounds { lo: -self.most_flow(pipe, -loss.lo), hi: self.most_flow(pipe, loss.hi) };
            return (flow, loss);
        }
        // A link outside of rings feeds one of its ends.
        let forward = self.layout.feed[link.to].is_some_and(|(feeding, _)| feeding == index);
        let (far, near) = if forward { (link.to, link.from) } else { (link.from, link.to) };
        let loss = match &link.part {
            Part::Pipe(pipe) => pipe.total(below[far], self.water),
            Part::Device(_) | Part::Reducer { .. } => levels[near].sub(levels[far]),
        };
        if forward { (below[far], loss) } else { (below[far].negated(), loss.negated()) }
    }

    /// The greatest flow (signed) that may lose no more than `loss` (signed).
    fn most_flow(&self, pipe: &Pipe, loss: f64) -> f64 {
        let at_least = |q: f64| pipe.total(Bounds::exactly(q), self.water).lo >= loss;
        let at_most = |q: f64| pipe.total(Bounds::exactly(q), self.water).hi <= -loss;
        if loss >= 0.0 {
            let mut above = 1e-12;
            while !at_least(above) {
                above *= 2.0;
                if !above.is_finite() || above > 1e6 {
                    return f64::INFINITY;
                }
            }
            split(0.0, above, at_least).1
        } else {
            let mut above = 1e-12;
            while at_most(above) && above < 1e6 {
                above *= 2.0;
            }
            -split(0.0, above, |q| !at_most(q)).0
        }
    }
}

/// Halves a span whose upper end holds `beyond` until its ends are neighbours.
fn split(mut below: f64, mut above: f64, beyond: impl Fn(f64) -> bool) -> (f64, f64) {
    for _ in 0..200 {
        let middle = below + (above - below) / 2.0;
        if middle <= below || middle >= above {
            break;
        }
        if beyond(middle) { above = middle } else { below = middle }
    }
    (below, above)
}

pub(super) fn without_direction(q: Bounds) -> Bounds {
    if q.lo >= 0.0 {
        q
    } else if q.hi <= 0.0 {
        q.negated()
    } else {
        Bounds { lo: 0.0, hi: q.magnitude() }
    }
}
