//! Enclosed farmland: parcels cut out of blocks of land, sharing their boundaries.
//!
//! A block is split again and again across its longer side, as inheritance and enclosure did, with lanes left free
//! between the first halves. The pieces form one mesh whose corners and sides are shared by neighbours, so a hedge
//! between two fields is one hedge. Some neighbours are thrown together again (L-shapes), and the mesh is bent by a
//! slow random displacement, which keeps every shared corner shared.

use crate::noise::{Dice, Noise, mix};
use crate::path;
use sparefield_geometry::fields::model::ring_area;
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};
use std::collections::BTreeMap;

/// Width of the land taken by a lane and its verges, metres.
pub const LANE_M: f64 = 9.0;

/// A block of enclosed land.
#[derive(Clone, Copy, Debug)]
pub struct Block {
    /// A letter for purposes of chance and for names.
    pub key: u64,
    /// Middle, local metres.
    pub centre: (f64, f64),
    /// Direction of the longer side, compass degrees.
    pub axis_deg: f64,
    /// Half the length and half the width, metres.
    pub half: (f64, f64),
    /// Usual size of a parcel, hectares.
    pub parcel_ha: f64,
    /// How many times longer than wide a parcel may become before it is split across.
    pub aspect: f64,
    /// How often a split leaves a lane.
    pub lane_splits: u32,
    /// Share of parcels on the block's rim that is left open.
    pub ragged: f64,
}

/// The blocks of the area. The first holds the home strip, the second the village.
pub const BLOCKS: [Block; 6] = [
    Block {
        key: 1,
        centre: (11_950.0, 11_420.0),
        axis_deg: 60.0,
        half: (1_450.0, 850.0),
        parcel_ha: 7.6,
        aspect: 1.5,
        lane_splits: 1,
        ragged: 0.34,
    },
    Block {
        key: 2,
        centre: (8_350.0, 9_750.0),
        axis_deg: 158.0,
        half: (950.0, 680.0),
        parcel_ha: 5.6,
        aspect: 1.4,
        lane_splits: 2,
        ragged: 0.38,
    },
    Block {
        key: 3,
        centre: (8_000.0, 7_150.0),
        axis_deg: 42.0,
        half: (1_000.0, 430.0),
        parcel_ha: 6.0,
        aspect: 1.7,
        lane_splits: 1,
        ragged: 0.4,
    },
    Block {
        key: 4,
        centre: (8_150.0, 14_450.0),
        axis_deg: 155.0,
        half: (700.0, 520.0),
        parcel_ha: 3.6,
        aspect: 1.3,
        lane_splits: 1,
        ragged: 0.4,
    },
    Block {
        key: 5,
        centre: (15_900.0, 4_300.0),
        axis_deg: 100.0,
        half: (1_050.0, 720.0),
        parcel_ha: 11.5,
        aspect: 1.4,
        lane_splits: 1,
        ragged: 0.38,
    },
    Block {
        key: 6,
        centre: (12_350.0, 7_550.0),
        axis_deg: 94.0,
        half: (820.0, 330.0),
        parcel_ha: 4.6,
        aspect: 5.5,
        lane_splits: 0,
        ragged: 0.15,
    },
];

/// Half length and half width of the home strip's field, metres.
pub const HOME_HALF: (f64, f64) = (255.0, 52.0);

/// One parcel: a ring of corners of the mesh, anticlockwise.
#[derive(Clone, Debug)]
pub struct Parcel {
    /// Index of its block in [`BLOCKS`].
    pub block: usize,
    /// Corner numbers.
    pub ring: Vec<usize>,
    /// Whether it is the home strip's field.
    pub home: bool,
    /// Whether it lies on the rim of its block.
    pub rim: bool,
}

/// All parcels, their corners, and the lanes between them.
#[derive(Clone, Debug, Default)]
pub struct Mesh {
    /// Corners, local metres.
    pub corners: Vec<Xy>,
    /// Parcels.
    pub parcels: Vec<Parcel>,
    /// Number of the original side that a side (lower corner, higher corner) is a piece of.
    pub side_of: BTreeMap<(usize, usize), usize>,
    /// Lanes with the index of their block.
    pub lanes: Vec<(usize, Vec<Xy>)>,
}

impl Mesh {
    /// A parcel's outline.
    #[must_use]
    pub fn outline(&self, parcel: &Parcel) -> Vec<Xy> {
        parcel.ring.iter().map(|&i| self.corners[i]).collect()
    }
    /// The sides of a parcel as pairs of corners, in order.
    pub fn sides<'a>(&self, parcel: &'a Parcel) -> impl Iterator<Item = (usize, usize)> + use<'a> {
        let n = parcel.ring.len();
        (0..n).map(move |i| (parcel.ring[i], parcel.ring[(i + 1) % n]))
    }
}

/// A side without its direction.
#[must_use]
pub fn undirected((a, b): (usize, usize)) -> (usize, usize) {
    (a.min(b), a.max(b))
}

impl Block {
    /// From the block's own coordinates (along, across to the left) to local metres.
    #[must_use]
    pub fn place(&self, along_m: f64, left_m: f64) -> Xy {
        let u = Bearing::from_deg(self.axis_deg).unit();
        Xy::new(self.centre.0, self.centre.1) + u * along_m + Xy::new(-u.y, u.x) * left_m
    }
    fn rect(&self, x0: f64, x1: f64, y0: f64, y1: f64) -> Vec<Xy> {
        vec![self.place(x0, y0), self.place(x1, y0), self.place(x1, y1), self.place(x0, y1)]
    }
}

/// Cuts a convex ring with a line; returns the left part, the right part and the two cut points.
fn cut(ring: &[Xy], at: Xy, direction: Xy) -> Option<(Vec<Xy>, Vec<Xy>, [Xy; 2])> {
    let side: Vec<f64> = ring.iter().map(|&p| direction.cross(p - at)).collect();
    let (mut left, mut right, mut cuts) = (Vec::new(), Vec::new(), Vec::new());
    for i in 0..ring.len() {
        let j = (i + 1) % ring.len();
        if side[i] >= 0.0 {
            left.push(ring[i]);
        } else {
            right.push(ring[i]);
        }
        if (side[i] >= 0.0) != (side[j] >= 0.0) {
            let t = side[i] / (side[i] - side[j]);
            let p = ring[i] + (ring[j] - ring[i]) * t;
            left.push(p);
            right.push(p);
            cuts.push(p);
        }
    }
    match cuts[..] {
        [a, b] => Some((left, right, [a, b])),
        _ => None,
    }
}

/// Extent of a ring along a unit vector.
fn extent(ring: &[Xy], u: Xy) -> (f64, f64) {
    ring.iter().map(|p| p.dot(u)).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), d| (a.min(d), b.max(d)))
}

struct Splitter<'a> {
    block: &'a Block,
    dice: Dice,
    pieces: Vec<Vec<Xy>>,
    lanes: Vec<Vec<Xy>>,
    /// How far a lane goes on beyond the piece that it splits, to meet the lane outside, metres.
    beyond_m: f64,
}

impl Splitter<'_> {
    fn split(&mut self, ring: Vec<Xy>, lanes_left: u32) {
        let area_ha = ring_area(&ring) / 1e4;
        let wanted = self.block.parcel_ha * self.dice.within(0.75, 1.9);
        if area_ha < wanted && lanes_left == 0 {
            self.pieces.push(ring);
            return;
        }
        let along = Bearing::from_deg(self.block.axis_deg + self.dice.within(-7.0, 7.0)).unit();
        let across = Xy::new(-along.y, along.x);
        let (a, b) = (extent(&ring, along), extent(&ring, across));
        // Strip-like blocks are cut into strips: their parcels may be several times as long as wide.
        let long_way = (a.1 - a.0) > (b.1 - b.0) * if self.block.aspect > 3.0 { 0.9 } else { 1.0 };
        let strips = self.block.aspect > 3.0 && (b.1 - b.0) < 420.0 && (a.1 - a.0) > 75.0;
        let (u, range) = if strips || long_way { (along, a) } else { (across, b) };
        let share = self.dice.within(0.38, 0.62);
        let at = u * (range.0 + (range.1 - range.0) * share);
        let direction = Xy::new(-u.y, u.x);
        let Some((left, right, [p, q])) = cut(&ring, at, direction) else {
            self.pieces.push(ring);
            return;
        };
        if lanes_left == 0 {
            self.split(left, 0);
            self.split(right, 0);
            return;
        }
        let shift = Xy::new(-direction.y, direction.x) * (LANE_M / 2.0);
        let beyond = (q - p) * (self.beyond_m / p.distance(q));
        self.lanes.push(vec![p - beyond, q + beyond]);
        let keep_left = cut(&left, at + shift, direction).map_or(left, |(l, _, _)| l);
        let keep_right = cut(&right, at - shift, direction).map_or(right, |(_, r, _)| r);
        self.split(keep_left, lanes_left - 1);
        self.split(keep_right, lanes_left - 1);
    }
}

/// A block before its pieces are joined into the mesh.
struct Cut {
    pieces: Vec<Vec<Xy>>,
    lanes: Vec<Vec<Xy>>,
    /// The home field, where the block holds it.
    home: Option<Vec<Xy>>,
}

/// Straight-sided pieces and lanes of one block.
fn pieces(block: &Block, seed: u64, home: bool) -> Cut {
    let (l, w) = block.half;
    let g = LANE_M / 2.0;
    let mut splitter = Splitter {
        block,
        dice: Dice::new(seed, 100 + block.key),
        pieces: Vec::new(),
        lanes: Vec::new(),
        beyond_m: LANE_M / 2.0,
    };
    if home {
        // Four blocks around the strip like the vanes of a windmill, and a lane to the south of them.
        let (a, b) = HOME_HALF;
        let south = -b - 330.0;
        splitter.lanes.push(vec![block.place(-l - 30.0, south - g), block.place(l + 30.0, south - g)]);
        // The lane in the first vane ends at the fields of the next one.
        splitter.beyond_m = 0.0;
        splitter.split(block.rect(-l, a, b, w), 1);
        splitter.beyond_m = g;
        splitter.split(block.rect(a, l, -b, w), 0);
        splitter.split(block.rect(-a, l, south, -b), 0);
        splitter.split(block.rect(-l, -a, south, b), 0);
        splitter.split(block.rect(-l, l, -w, south - LANE_M), 1);
        return Cut { pieces: splitter.pieces, lanes: splitter.lanes, home: Some(block.rect(-a, a, -b, b)) };
    }
    let middle = splitter.dice.within(-0.15, 0.15) * w;
    if block.aspect > 3.0 {
        splitter.lanes.push(vec![block.place(-l - 30.0, -w - g), block.place(l + 30.0, -w - g)]);
        splitter.split(block.rect(-l, l, -w, w), 0);
    } else {
        splitter.lanes.push(vec![block.place(-l - 30.0, middle), block.place(l + 30.0, middle)]);
        splitter.split(block.rect(-l, l, middle + g, w), block.lane_splits);
        splitter.split(block.rect(-l, l, -w, middle - g), block.lane_splits);
    }
    Cut { pieces: splitter.pieces, lanes: splitter.lanes, home: None }
}

/// The corner number for a place, shared by all corners within a centimetre.
fn corner(corners: &mut Vec<Xy>, known: &mut BTreeMap<(i64, i64), usize>, p: Xy) -> usize {
    let key = ((p.x * 100.0).round() as i64, (p.y * 100.0).round() as i64);
    for dx in -1..=1 {
        for dy in -1..=1 {
            if let Some(&i) = known.get(&(key.0 + dx, key.1 + dy)) {
                return i;
            }
        }
    }
    corners.push(p);
    known.insert(key, corners.len() - 1);
    corners.len() - 1
}

/// Throws two neighbours together, or `None` when they do not share exactly one stretch of boundary.
fn union(a: &[usize], b: &[usize]) -> Option<Vec<usize>> {
    let sides = |ring: &[usize]| -> Vec<(usize, usize)> {
        (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()])).collect()
    };
    let (sa, sb) = (sides(a), sides(b));
    let mut next = BTreeMap::new();
    let mut count = 0;
    for (mine, other) in [(&sa, &sb), (&sb, &sa)] {
        for &(p, q) in mine {
            if !other.contains(&(q, p)) {
                count += 1;
                if next.insert(p, q).is_some() {
                    return None;
                }
            }
        }
    }
    if count == sa.len() + sb.len() {
        return None;
    }
    let (&start, _) = next.first_key_value()?;
    let mut ring = vec![start];
    let mut at = *next.get(&start)?;
    while at != start {
        ring.push(at);
        at = *next.get(&at)?;
    }
    (ring.len() == count).then_some(ring)
}

/// Makes the mesh of all blocks from a seed.
#[must_use]
pub fn make(seed: u64) -> Mesh {
    let mut mesh = Mesh::default();
    for (index, block) in BLOCKS.iter().enumerate() {
        add_block(&mut mesh, seed, index, block);
    }
    bend(&mut mesh, seed);
    mesh
}

fn add_block(mesh: &mut Mesh, seed: u64, index: usize, block: &Block) {
    let Cut { pieces: rings, lanes, home } = pieces(block, seed, index == 0);
    mesh.lanes.extend(lanes.into_iter().map(|lane| (index, lane)));
    let first_corner = mesh.corners.len();
    let mut known = BTreeMap::new();
    let mut faces: Vec<(Vec<usize>, bool)> = Vec::new();
    for (ring, is_home) in rings.into_iter().map(|r| (r, false)).chain(home.map(|r| (r, true))) {
        let mut numbers: Vec<usize> = ring.iter().map(|&p| corner(&mut mesh.corners, &mut known, p)).collect();
        numbers.dedup();
        if numbers.first() == numbers.last() {
            numbers.pop();
        }
        faces.push((numbers, is_home));
    }
    // Corners of neighbours that lie on a side become corners of both.
    let all: Vec<usize> = (first_corner..mesh.corners.len()).collect();
    for (ring, _) in &mut faces {
        let mut full = Vec::new();
        for i in 0..ring.len() {
            let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
            let (pa, pb) = (mesh.corners[a], mesh.corners[b]);
            full.push(a);
            let mut between: Vec<(f64, usize)> = all
                .iter()
                .filter(|&&k| k != a && k != b)
                .filter_map(|&k| {
                    let p = mesh.corners[k];
                    let foot = path::nearest_on_side(p, pa, pb);
                    let inner = foot.distance(pa) > 0.05 && foot.distance(pb) > 0.05;
                    (inner && p.distance(foot) < 0.05).then(|| (p.distance(pa), k))
                })
                .collect();
            between.sort_by(|x, y| x.0.total_cmp(&y.0));
            full.extend(between.into_iter().map(|(_, k)| k));
        }
        *ring = full;
    }
    throw_together(mesh, &mut faces, seed, block);
    let mut uses: BTreeMap<(usize, usize), u32> = BTreeMap::new();
    for (ring, _) in &faces {
        for i in 0..ring.len() {
            *uses.entry(undirected((ring[i], ring[(i + 1) % ring.len()]))).or_default() += 1;
        }
    }
    let outer = |p: Xy| {
        let d = p - Xy::new(block.centre.0, block.centre.1);
        let u = Bearing::from_deg(block.axis_deg).unit();
        d.dot(u).abs() > block.half.0 - 2.0 || u.cross(d).abs() > block.half.1 - 2.0
    };
    let mut numbers = BTreeMap::new();
    for (ring, home) in faces {
        let rim = ring.iter().any(|&k| outer(mesh.corners[k]));
        mesh.parcels.push(Parcel { block: index, ring, home, rim });
    }
    for side in uses.into_keys() {
        let number = mesh.side_of.len() + 1;
        numbers.insert(side, number);
        mesh.side_of.insert(side, number);
    }
}

/// Joins some neighbours, which gives L-shapes and other many-cornered fields.
fn throw_together(mesh: &Mesh, faces: &mut Vec<(Vec<usize>, bool)>, seed: u64, block: &Block) {
    let mut dice = Dice::new(seed, 200 + block.key);
    let area = |ring: &[usize]| ring_area(&ring.iter().map(|&k| mesh.corners[k]).collect::<Vec<_>>()) / 1e4;
    let wanted = (faces.len() as f64 * 0.16) as usize;
    let mut joined = Vec::new();
    for _ in 0..wanted * 30 {
        if joined.len() >= wanted || faces.len() < 3 {
            break;
        }
        let (i, j) = (dice.below(faces.len()), dice.below(faces.len()));
        if i == j || faces[i].1 || faces[j].1 || area(&faces[i].0) + area(&faces[j].0) > 16.0 {
            continue;
        }
        if let Some(ring) = union(&faces[i].0, &faces[j].0) {
            let points: Vec<Xy> = ring.iter().map(|&k| mesh.corners[k]).collect();
            let around: f64 = (0..points.len()).map(|k| points[k].distance(points[(k + 1) % points.len()])).sum();
            // Not too straggling: at most 2.2 times the outline of a disc of the same area.
            if around > 2.2 * 2.0 * (math::PI * ring_area(&points)).sqrt() {
                continue;
            }
            let (low, high) = (i.min(j), i.max(j));
            faces.remove(high);
            faces.remove(low);
            joined.push(ring);
        }
    }
    faces.extend(joined.into_iter().map(|ring| (ring, false)));
}

/// Puts corners into long sides and moves every corner a little, the same for all that share it.
fn bend(mesh: &mut Mesh, seed: u64) {
    let home = Xy::new(BLOCKS[0].centre.0, BLOCKS[0].centre.1);
    let (slow, fast) = (Noise::new(seed, 30), Noise::new(seed, 31));
    let far = Xy::new(51_000.0, 17_000.0);
    let moved = |p: Xy| {
        let t = ((p.distance(home) - 275.0) / 300.0).clamp(0.0, 1.0);
        let weight = t * t * (3.0 - 2.0 * t);
        let shift = Xy::new(slow.at(p, 1_000.0), slow.at(p + far, 1_000.0)) * 80.0
            + Xy::new(fast.at(p, 260.0), fast.at(p + far, 260.0)) * 13.0;
        p + shift * weight
    };
    let mut halves: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
    let mut uses: BTreeMap<(usize, usize), u32> = BTreeMap::new();
    for parcel in &mesh.parcels {
        for side in mesh.sides(parcel) {
            *uses.entry(undirected(side)).or_default() += 1;
        }
    }
    let sides: Vec<((usize, usize), usize)> = mesh.side_of.iter().map(|(&s, &n)| (s, n)).collect();
    for ((a, b), number) in sides {
        let (pa, pb) = (mesh.corners[a], mesh.corners[b]);
        // Sides without a neighbour mostly lie along lanes, and must follow their bends closely.
        let piece_m = if uses.get(&(a, b)) == Some(&1) { 75.0 } else { 170.0 };
        let count = (pa.distance(pb) / piece_m).floor() as usize;
        let near_home = path::nearest_on_side(home, pa, pb).distance(home) < 275.0;
        if count == 0 || near_home {
            continue;
        }
        let mut inner = Vec::new();
        for k in 1..=count {
            let wobble = (mix(seed ^ (number * 64 + k) as u64) >> 40) as f64 / (1_u64 << 24) as f64 - 0.5;
            let t = (k as f64 + 0.35 * wobble) / (count as f64 + 1.0);
            mesh.corners.push(pa + (pb - pa) * t);
            inner.push(mesh.corners.len() - 1);
        }
        mesh.side_of.remove(&(a, b));
        let chain: Vec<usize> = core::iter::once(a).chain(inner.iter().copied()).chain([b]).collect();
        for w in chain.windows(2) {
            mesh.side_of.insert(undirected((w[0], w[1])), number);
        }
        halves.insert((a, b), inner);
    }
    for parcel in &mut mesh.parcels {
        let mut ring = Vec::new();
        for i in 0..parcel.ring.len() {
            let (a, b) = (parcel.ring[i], parcel.ring[(i + 1) % parcel.ring.len()]);
            ring.push(a);
            if let Some(inner) = halves.get(&undirected((a, b))) {
                if a < b {
                    ring.extend(inner);
                } else {
                    ring.extend(inner.iter().rev());
                }
            }
        }
        parcel.ring = ring;
    }
    for p in &mut mesh.corners {
        *p = moved(*p);
    }
    for (_, lane) in &mut mesh.lanes {
        *lane = path::resample(lane, 40.0).into_iter().map(moved).collect();
    }
}
