//! How the piping hangs together: a spanning tree from the supply, and what closes rings.

use super::{Network, NetworkError, Part};

/// A tree over all nodes, with the links that are not in it.
#[derive(Debug)]
pub(super) struct Layout {
    /// Nodes in the order the supply reaches them; the source first.
    pub order: Vec<usize>,
    /// For each node but the source: the link that feeds it, and the node at the link's other end.
    pub feed: Vec<Option<(usize, usize)>>,
    /// Links that close a ring.
    pub chords: Vec<usize>,
    /// Whether a link lies in a ring.
    pub in_ring: Vec<bool>,
    /// For each node: number of the group of rings it belongs to.
    pub group: Vec<Option<usize>>,
    /// For each group: the node the supply reaches first.
    pub roots: Vec<usize>,
}

impl Layout {
    pub(super) fn of(network: &Network) -> Result<Layout, NetworkError> {
        let (nodes, links) = (&network.nodes, &network.links);
        if nodes.len() > super::MOST_PARTS || links.len() > super::MOST_PARTS {
            return Err(NetworkError::TooLarge { nodes: nodes.len(), links: links.len() });
        }
        let missing = |what: &str, index: usize| NetworkError::NoSuchNode {
            what: what.to_owned(),
            index,
            nodes: nodes.len(),
        };
        if network.source >= nodes.len() {
            return Err(missing("the supply", network.source));
        }
        let mut around = vec![Vec::new(); nodes.len()];
        for (index, link) in links.iter().enumerate() {
            for end in [link.from, link.to] {
                around.get_mut(end).ok_or_else(|| missing(&link.name, end))?.push(index);
            }
            if link.from == link.to {
                return Err(NetworkError::Loop { link: link.name.clone() });
            }
        }
        let (order, feed) = spanning_tree(network, &around);
        if let Some(index) = (0..nodes.len()).find(|&n| n != network.source && feed[n].is_none()) {
            return Err(NetworkError::Unreached { node: nodes[index].name.clone() });
        }
        let mut in_tree = vec![false; links.len()];
        feed.iter().flatten().for_each(|&(link, _)| in_tree[link] = true);
        let chords: Vec<usize> = (0..links.len()).filter(|&l| !in_tree[l]).collect();
        let in_ring = ring_links(network, &order, &feed, &chords);
        for (link, &ring) in links.iter().zip(&in_ring) {
            if ring && !matches!(link.part, Part::Pipe(_)) {
                return Err(NetworkError::DeviceInRing { link: link.name.clone() });
            }
        }
        for &(link, parent) in feed.iter().flatten() {
            if matches!(links[link].part, Part::Reducer { .. }) && links[link].from != parent {
                return Err(NetworkError::Backwards { link: links[link].name.clone() });
            }
        }
        let (group, roots) = groups(network, &order, &in_ring);
        Ok(Layout { order, feed, chords, in_ring, group, roots })
    }
}

type Feed = Vec<Option<(usize, usize)>>;

/// Breadth first, so that ring nodes are reached by the shortest ways.
fn spanning_tree(network: &Network, around: &[Vec<usize>]) -> (Vec<usize>, Feed) {
    let mut feed = vec![None; network.nodes.len()];
    let mut order = vec![network.source];
    let mut at = 0;
    while let Some(&node) = order.get(at) {
        at += 1;
        for &index in &around[node] {
            let link = &network.links[index];
            let other = if link.from == node { link.to } else { link.from };
            if other != network.source && feed[other].is_none() {
                feed[other] = Some((index, node));
                order.push(other);
            }
        }
    }
    (order, feed)
}

/// The links on the tree's way between a chord's two ends close a ring with it.
fn ring_links(network: &Network, order: &[usize], feed: &Feed, chords: &[usize]) -> Vec<bool> {
    let mut depth = vec![0usize; network.nodes.len()];
    for &node in order {
        if let Some((_, parent)) = feed[node] {
            depth[node] = depth[parent] + 1;
        }
    }
    let mut in_ring = vec![false; network.links.len()];
    for &chord in chords {
        in_ring[chord] = true;
        let (mut a, mut b) = (network.links[chord].from, network.links[chord].to);
        while a != b {
            let deeper = if depth[a] >= depth[b] { &mut a } else { &mut b };
            let Some((link, parent)) = feed[*deeper] else { break };
            in_ring[link] = true;
            *deeper = parent;
        }
    }
    in_ring
}

/// Nodes joined by ring links form groups, each solved by itself.
fn groups(network: &Network, order: &[usize], in_ring: &[bool]) -> (Vec<Option<usize>>, Vec<usize>) {
    let mut leader: Vec<usize> = (0..network.nodes.len()).collect();
    fn find(leader: &mut [usize], mut node: usize) -> usize {
        while leader[node] != node {
            leader[node] = leader[leader[node]];
            node = leader[node];
        }
        node
    }
    let mut touched = vec![false; network.nodes.len()];
    for (link, &ring) in network.links.iter().zip(in_ring) {
        if ring {
            let (a, b) = (find(&mut leader, link.from), find(&mut leader, link.to));
            leader[a] = b;
            touched[link.from] = true;
            touched[link.to] = true;
        }
    }
    let mut number = vec![None; network.nodes.len()];
    let mut group = vec![None; network.nodes.len()];
    let mut roots = Vec::new();
    for &node in order.iter().filter(|&&node| touched[node]) {
        let lead = find(&mut leader, node);
        let index = *number[lead].get_or_insert_with(|| {
            roots.push(node);
            roots.len() - 1
        });
        group[node] = Some(index);
    }
    (group, roots)
}
