//! A house's water piping: the pressure left at every outlet.
//!
//! One supply, pipes that branch and may close rings, meters and other devices with a curve, pressure reducing valves.
//! Demands are given (all that run at once, by whatever method the code names) and never negative.
//!
//! How it is bounded. Along branches everything is interval arithmetic. In a ring the flows are found by the gradient method
//! (E. Todini and S. Pilati, 1987; L. A. Rossman, EPANET 2 Users Manual, EPA/600/R-00/057, appendix D), then checked
//! rather than trusted: with the flows of the pipes that close the rings taken as they came out, every other flow and
//! every pressure follows by continuity and addition, and each closing pipe is left with a residual. A residual is a
//! pump of that many pascals put into that pipe; the laws of loss all rise, so it moves no pressure, and no difference
//! of two pressures, by more than itself. The sum of the residuals widens the bounds.

mod layout;
mod ring;
mod solve;
mod suggest;

pub use solve::{LinkState, NodeState, Solution};
pub use suggest::{MOST_SIZED, PipeSize, SuggestError, Suggestion, suggest_size};

use crate::device::{CurveError, LossCurve};
use crate::pipe::Pipe;
use crate::quantity::{CubicMetersPerSecond, Meters, Pascals, Unusable};

/// Most nodes and most links of one network. A house has fewer than a hundred.
pub const MOST_PARTS: usize = 2000;
/// Most nodes that may hang together in rings (the method solves a full system of that size).
pub const MOST_RING_NODES: usize = 300;

/// A place in the piping.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// How messages call it.
    pub name: String,
    /// Height above any one datum.
    pub elevation: Meters,
    /// What is drawn here, zero for a joint.
    pub demand: CubicMetersPerSecond,
    /// Pressure the outlet needs while it flows; none for a joint.
    pub needs: Option<Pascals>,
}

/// A pipe or device between two nodes.
#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// How messages call it.
    pub name: String,
    /// Index of the node it starts at.
    pub from: usize,
    /// Index of the node it ends at.
    pub to: usize,
    /// What it is.
    pub part: Part,
}

/// What stands between two nodes.
#[derive(Debug, Clone, PartialEq)]
pub enum Part {
    /// A pipe with its fittings.
    Pipe(Pipe),
    /// A meter, backflow assembly, filter, heater: anything with a curve of loss. Not inside a ring.
    Device(LossCurve),
    /// A pressure reducing valve from `from` to `to`. Not inside a ring.
    Reducer {
        /// Pressure it is set to, at no flow.
        setting: Pascals,
        /// By how much the pressure behind it falls below the setting as flow rises, where its maker says.
        falloff: Option<LossCurve>,
        /// What it loses when it stands wide open, where its maker says.
        open: Option<LossCurve>,
    },
}

/// Nodes and links.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    /// Nodes; links name them by index.
    pub nodes: Vec<Node>,
    /// Links.
    pub links: Vec<Link>,
    /// Index of the node that the supply feeds: main, well tank.
    pub source: usize,
}

/// Why a network has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NetworkError {
    /// Too large.
    #[error("the piping has {nodes} nodes and {links} links; up to {MOST_PARTS} of each are solved")]
    TooLarge {
        /// Nodes.
        nodes: usize,
        /// Links.
        links: usize,
    },
    /// A link or the source names a node that is not there.
    #[error("{what} names node number {index}, but there are {nodes} nodes, counted from 0")]
    NoSuchNode {
        /// The link or the source.
        what: String,
        /// Index given.
        index: usize,
        /// Nodes there are.
        nodes: usize,
    },
    /// A link from a node to itself.
    #[error("{link} starts and ends at the same node")]
    Loop {
        /// The link.
        link: String,
    },
    /// A node the supply does not reach.
    #[error("{node} is not joined to the supply: add the pipe that feeds it")]
    Unreached {
        /// The node.
        node: String,
    },
    /// A device or a reducing valve in a ring.
    #[error(
        "{link} stands in a ring of pipes; a device or a reducing valve is solved only where all the water behind it passes it"
    )]
    DeviceInRing {
        /// The link.
        link: String,
    },
    /// A reducing valve the wrong way round.
    #[error("{link} is set in against the flow: its `from` must be on the supply's side")]
    Backwards {
        /// The link.
        link: String,
    },
    /// Too many nodes in rings.
    #[error("{nodes} nodes hang together in rings; up to {MOST_RING_NODES} are solved")]
    RingTooLarge {
        /// Nodes in the rings.
        nodes: usize,
    },
    /// The iteration left a residual too large to be of use.
    #[error("the flows in the ring at {node} did not settle: {residual_pa:.0} Pa are left over")]
    NotSettled {
        /// A node of the ring.
        node: String,
        /// Sum of the residuals, Pa.
        residual_pa: f64,
    },
    /// An input out of range.
    #[error("{at}: {cause}")]
    Input {
        /// Node or link.
        at: String,
        /// What is wrong with it.
        cause: Unusable,
    },
    /// A device's curve does not answer.
    #[error("{at}: {cause}")]
    Curve {
        /// The link.
        at: String,
        /// Why.
        cause: CurveError,
    },
}
