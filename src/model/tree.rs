//! The splitter tree: who feeds whom, and which share each basin should get.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Id;

/// Index of a basin in its system, in the file's order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct BasinIx(pub u16);

/// Index of a splitter in its system, in the file's order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SplitterIx(pub u16);

/// A splitter or a basin.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Node {
    /// A splitter.
    Splitter(SplitterIx),
    /// A basin, which is a leaf.
    Basin(BasinIx),
}

/// One splitter on the way from the root to a basin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// The splitter passed.
    pub splitter: SplitterIx,
    /// Side taken: 0 is a, 1 is b.
    pub side: usize,
}

/// A checked binary tree of splitters over basins.
///
/// Invariants: one root, every other node fed exactly once, no loops, at least one basin, so
/// there is one splitter fewer than there are basins.
#[derive(Clone, Debug, PartialEq)]
pub struct Tree {
    root: Node,
    feeds: Vec<[Node; 2]>,
    /// Path from the root to each basin.
    paths: Vec<Vec<Step>>,
    /// Design share of each basin; sums to 1.
    shares: Vec<f64>,
}

/// What is wrong with the feeds of a would-be tree. Indices count in the file's order.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TreeFault {
    /// Two parts have the same id.
    #[error("the id `{id}` is used twice")]
    DuplicateId {
        /// The repeated id.
        id: Id,
    },
    /// A splitter feeds an id that does not exist.
    #[error("splitter `{splitter}` feeds `{feeds}`, which does not exist")]
    UnknownFeed {
        /// Feeding splitter.
        splitter: Id,
        /// Unknown id.
        feeds: Id,
    },
    /// A node is fed more than once.
    #[error("`{id}` is fed more than once; every line ends in one place")]
    FedTwice {
        /// The node.
        id: Id,
    },
    /// A node is fed by nothing although there is another root.
    #[error("`{id}` is fed by no splitter, and so is `{root}`; only one part can be the start")]
    Orphan {
        /// The orphan.
        id: Id,
        /// The part taken as the start.
        root: Id,
    },
    /// Splitters feed each other in a circle.
    #[error("splitter `{id}` is part of a loop: water would never reach a basin")]
    Loop {
        /// A splitter of the loop.
        id: Id,
    },
    /// There is no basin.
    #[error("a system needs at least one basin")]
    NoBasin,
}

impl Tree {
    /// Builds the tree of `splitters` (id, fed ids, design split) over `basins`.
    ///
    /// # Errors
    /// Every fault found, not only the first.
    pub fn build(splitters: &[(Id, [Id; 2], [f64; 2])], basins: &[Id]) -> Result<Self, Vec<TreeFault>> {
        let mut faults = Vec::new();
        if basins.is_empty() {
            faults.push(TreeFault::NoBasin);
        }
        let nodes = name_nodes(splitters, basins, &mut faults);
        let feeds = resolve_feeds(splitters, &nodes, &mut faults);
        let fed = count_feeds(&feeds, splitters.len(), basins.len());
        let root = find_root(&fed, splitters, basins, &mut faults);
        let (Some(root), true) = (root, faults.is_empty()) else {
            return Err(faults);
        };
        let feeds: Vec<[Node; 2]> =
            feeds.into_iter().map(|[a, b]| [a, b].map(|n| n.expect("no unknown feed"))).collect();
        let mut tree =
            Self { root, feeds, paths: vec![Vec::new(); basins.len()], shares: vec![0.0; basins.len()] };
        tree.walk(root, &mut Vec::new(), 1.0, splitters);
        Ok(tree)
    }

    /// Follows every line down from `node`, noting the path and share of each basin.
    fn walk(&mut self, node: Node, path: &mut Vec<Step>, share: f64, splitters: &[(Id, [Id; 2], [f64; 2])]) {
        match node {
            Node::Basin(basin) => {
                self.paths[basin.0 as usize].clone_from(path);
                self.shares[basin.0 as usize] = share;
            }
            Node::Splitter(splitter) => {
                let split = splitters[splitter.0 as usize].2;
                for (side, fraction) in split.into_iter().enumerate() {
                    path.push(Step { splitter, side });
                    let next = self.feeds[splitter.0 as usize][side];
                    self.walk(next, path, share * fraction, splitters);
                    path.pop();
                }
            }
        }
    }

    /// The first splitter, or the only basin.
    pub fn root(&self) -> Node {
        self.root
    }

    /// What a splitter feeds, side a first.
    pub fn feeds(&self, splitter: SplitterIx) -> [Node; 2] {
        self.feeds[splitter.0 as usize]
    }

    /// Splitters passed from the root to `basin`.
    pub fn path(&self, basin: BasinIx) -> &[Step] {
        &self.paths[basin.0 as usize]
    }

    /// Fraction of each dose that `basin` should get.
    pub fn design_share(&self, basin: BasinIx) -> f64 {
        self.shares[basin.0 as usize]
    }

    /// Number of basins.
    pub fn basins(&self) -> usize {
        self.shares.len()
    }

    /// Number of splitters.
    pub fn splitters(&self) -> usize {
        self.feeds.len()
    }

    /// The side of `splitter` that leads to `basin`, if any does.
    pub fn side_of(&self, splitter: SplitterIx, basin: BasinIx) -> Option<usize> {
        self.path(basin).iter().find(|step| step.splitter == splitter).map(|step| step.side)
    }

    /// The splitter that feeds `basin` directly.
    pub fn parent(&self, basin: BasinIx) -> Option<Step> {
        self.path(basin).last().copied()
    }
}

fn name_nodes(
    splitters: &[(Id, [Id; 2], [f64; 2])],
    basins: &[Id],
    faults: &mut Vec<TreeFault>,
) -> BTreeMap<Id, Node> {
    let splitter_nodes =
        splitters.iter().enumerate().map(|(i, s)| (&s.0, Node::Splitter(SplitterIx(i as u16))));
    let basin_nodes = basins.iter().enumerate().map(|(i, b)| (b, Node::Basin(BasinIx(i as u16))));
    let mut nodes = BTreeMap::new();
    for (id, node) in splitter_nodes.chain(basin_nodes) {
        if nodes.insert(id.clone(), node).is_some() {
            faults.push(TreeFault::DuplicateId { id: id.clone() });
        }
    }
    nodes
}

fn resolve_feeds(
    splitters: &[(Id, [Id; 2], [f64; 2])],
    nodes: &BTreeMap<Id, Node>,
    faults: &mut Vec<TreeFault>,
) -> Vec<[Option<Node>; 2]> {
    let mut seen = std::collections::BTreeSet::new();
    let mut resolved = Vec::with_capacity(splitters.len());
    for (splitter, feeds, _) in splitters {
        let mut sides = [None; 2];
        for (side, id) in feeds.iter().enumerate() {
            sides[side] = nodes.get(id).copied();
            if sides[side].is_none() {
                faults.push(TreeFault::UnknownFeed { splitter: splitter.clone(), feeds: id.clone() });
            } else if !seen.insert(id.clone()) {
                faults.push(TreeFault::FedTwice { id: id.clone() });
            }
        }
        resolved.push(sides);
    }
    resolved
}

/// Whether each splitter, then each basin, is fed by something.
fn count_feeds(feeds: &[[Option<Node>; 2]], splitters: usize, basins: usize) -> (Vec<bool>, Vec<bool>) {
    let mut fed = (vec![false; splitters], vec![false; basins]);
    for node in feeds.iter().flatten().flatten() {
        match node {
            Node::Splitter(s) => fed.0[s.0 as usize] = true,
            Node::Basin(b) => fed.1[b.0 as usize] = true,
        }
    }
    fed
}

fn find_root(
    fed: &(Vec<bool>, Vec<bool>),
    splitters: &[(Id, [Id; 2], [f64; 2])],
    basins: &[Id],
    faults: &mut Vec<TreeFault>,
) -> Option<Node> {
    let unfed_splitters = fed.0.iter().enumerate().filter(|(_, fed)| !**fed);
    let unfed_basins = fed.1.iter().enumerate().filter(|(_, fed)| !**fed);
    let mut unfed = unfed_splitters
        .map(|(i, _)| (Node::Splitter(SplitterIx(i as u16)), &splitters[i].0))
        .chain(unfed_basins.map(|(i, _)| (Node::Basin(BasinIx(i as u16)), &basins[i])));
    let root = unfed.next();
    if let Some((_, root_id)) = root {
        for (_, id) in unfed {
            faults.push(TreeFault::Orphan { id: id.clone(), root: root_id.clone() });
        }
    }
    report_loops(splitters, faults);
    root.map(|r| r.0)
}

/// Names every splitter from which the water would come back to itself.
fn report_loops(splitters: &[(Id, [Id; 2], [f64; 2])], faults: &mut Vec<TreeFault>) {
    let index: BTreeMap<&Id, usize> = splitters.iter().enumerate().map(|(i, s)| (&s.0, i)).collect();
    let next = |i: usize| splitters[i].1.iter().filter_map(|id| index.get(id).copied());
    let mut on_loop = vec![false; splitters.len()];
    for (start, flag) in on_loop.iter_mut().enumerate() {
        let mut stack: Vec<usize> = next(start).collect();
        let mut visited = vec![false; splitters.len()];
        while let Some(i) = stack.pop() {
            if i == start {
                *flag = true;
                break;
            }
            if !std::mem::replace(&mut visited[i], true) {
                stack.extend(next(i));
            }
        }
    }
    for (i, _) in on_loop.iter().enumerate().filter(|(_, looped)| **looped) {
        faults.push(TreeFault::Loop { id: splitters[i].0.clone() });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(text: &str) -> Id {
        Id::new(text).unwrap()
    }

    fn splitter(name: &str, a: &str, b: &str, split: [f64; 2]) -> (Id, [Id; 2], [f64; 2]) {
        (id(name), [id(a), id(b)], split)
    }

    #[test]
    fn shares_multiply_along_the_path() {
        let splitters = [splitter("s1", "s2", "plum", [0.6, 0.4]), splitter("s2", "fig", "pear", [0.5, 0.5])];
        let tree = Tree::build(&splitters, &[id("fig"), id("pear"), id("plum")]).unwrap();
        assert_eq!(tree.root(), Node::Splitter(SplitterIx(0)));
        let shares: Vec<f64> = (0..3).map(|b| tree.design_share(BasinIx(b))).collect();
        assert_eq!(shares, [0.3, 0.3, 0.4]);
        assert_eq!(tree.side_of(SplitterIx(0), BasinIx(1)), Some(0));
        assert_eq!(tree.side_of(SplitterIx(1), BasinIx(2)), None);
        assert_eq!(tree.parent(BasinIx(1)), Some(Step { splitter: SplitterIx(1), side: 1 }));
    }

    #[test]
    fn one_basin_needs_no_splitter() {
        let tree = Tree::build(&[], &[id("fig")]).unwrap();
        assert_eq!(tree.root(), Node::Basin(BasinIx(0)));
        assert_eq!(tree.parent(BasinIx(0)), None);
    }

    #[test]
    fn every_fault_is_named_at_once() {
        let half = [0.5, 0.5];
        let splitters = [
            splitter("s1", "fig", "fig", half),
            splitter("s2", "s3", "pear", half),
            splitter("s3", "s2", "nowhere", half),
        ];
        let basins = [id("fig"), id("pear"), id("plum"), id("fig")];
        let faults = Tree::build(&splitters, &basins).unwrap_err();
        for expected in [
            TreeFault::DuplicateId { id: id("fig") },
            TreeFault::FedTwice { id: id("fig") },
            TreeFault::UnknownFeed { splitter: id("s3"), feeds: id("nowhere") },
            TreeFault::Orphan { id: id("plum"), root: id("s1") },
            TreeFault::Loop { id: id("s2") },
            TreeFault::Loop { id: id("s3") },
        ] {
            assert!(faults.contains(&expected), "{expected:?} missing in {faults:?}");
        }
        assert_eq!(Tree::build(&[], &[]), Err(vec![TreeFault::NoBasin]));
    }

    #[test]
    fn a_loop_without_a_start_is_named() {
        let half = [0.5, 0.5];
        let splitters = [splitter("s1", "s2", "fig", half), splitter("s2", "s1", "pear", half)];
        let faults = Tree::build(&splitters, &[id("fig"), id("pear")]).unwrap_err();
        assert!(faults.contains(&TreeFault::Loop { id: id("s1") }));
    }
}
