//! Where the words of a drawing go: beside what they name, over nothing else, with a leader where they must stand off.
//!
//! Every label tries places around its thing, near ones first, and takes the one that costs least: covering
//! things, other labels or pipes costs, and so does distance. A few rounds let labels make room for each other.

/// Mean advance of a character, as a part of the size of the type; a little more than that of common sans-serif faces.
const ADVANCE: f64 = 0.56;
/// Sizes of the first and of further lines, and the distance from line to line, drawing units.
const TYPE: [f64; 2] = [12.0, 11.0];
const LINE: f64 = 13.0;
/// Room between a thing and its words.
const GAP: f64 = 3.0;
/// How far off its thing a label may stand, nearest first; from the second on, a leader ties it.
const OFF: [f64; 4] = [0.0, 14.0, 30.0, 48.0];
/// What it costs to stand nearer to something else than to what the words name.
const ASTRAY: f64 = 40.0;
/// What it costs that two leaders cross.
const CROSSED: f64 = 150.0;
/// Rounds in which labels make room for each other.
const ROUNDS: usize = 4;

/// From one point to another.
type Line = [(f64, f64); 2];

/// A rectangle, y downwards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rect {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

/// A thing with words.
pub(super) struct Named {
    /// Its middle.
    pub(super) at: (f64, f64),
    /// Half its width and half its height.
    pub(super) half: (f64, f64),
    /// Its words, line by line.
    pub(super) lines: Vec<String>,
}

/// Where the words of a thing went.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Label {
    /// Middle of each line on its baseline.
    pub(super) lines: Vec<(f64, f64)>,
    /// From the thing to its words, where they stand off.
    pub(super) leader: Option<Line>,
}

/// What labels should not cover.
pub(super) struct Ground<'a> {
    /// Where labels may be.
    pub(super) sheet: Rect,
    /// Things beside the named ones.
    pub(super) things: Vec<Rect>,
    /// Pipes.
    pub(super) pipes: &'a [[(f64, f64); 2]],
}

impl Rect {
    pub(super) fn around((x, y): (f64, f64), (half_x, half_y): (f64, f64)) -> Self {
        Self { left: x - half_x, top: y - half_y, right: x + half_x, bottom: y + half_y }
    }

    fn shared(&self, other: &Self) -> f64 {
        let across = self.right.min(other.right) - self.left.max(other.left);
        let down = self.bottom.min(other.bottom) - self.top.max(other.top);
        across.max(0.0) * down.max(0.0)
    }

    /// How far apart they are; nothing where they meet.
    fn gap(&self, other: &Self) -> f64 {
        let across = (self.left - other.right).max(other.left - self.right).max(0.0);
        let down = (self.top - other.bottom).max(other.top - self.bottom).max(0.0);
        across.hypot(down)
    }

    fn area(&self) -> f64 {
        (self.right - self.left) * (self.bottom - self.top)
    }

    /// Length of a line within it (Liang and Barsky's clipping, 1984).
    fn crossed_by(&self, [(x1, y1), (x2, y2)]: [(f64, f64); 2]) -> f64 {
        let (dx, dy) = (x2 - x1, y2 - y1);
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        for (p, q) in
            [(-dx, x1 - self.left), (dx, self.right - x1), (-dy, y1 - self.top), (dy, self.bottom - y1)]
        {
            if p == 0.0 {
                if q < 0.0 {
                    return 0.0;
                }
            } else if p < 0.0 {
                enter = enter.max(q / p);
            } else {
                leave = leave.min(q / p);
            }
        }
        (leave - enter).max(0.0) * dx.hypot(dy)
    }
}

/// A place that a label may take.
#[derive(Clone, Copy)]
struct Spot {
    room: Rect,
    cost: f64,
    /// From the thing to the words, where they stand off.
    leader: Option<Line>,
}

impl Spot {
    /// What it costs that both are taken: words on words, a leader through words, and leaders across each other.
    fn conflict(&self, other: &Self) -> f64 {
        let through = |room: &Rect, leader: Option<Line>| leader.map_or(0.0, |line| room.crossed_by(line));
        let across = match (self.leader, other.leader) {
            (Some(mine), Some(theirs)) if cross(mine, theirs) => CROSSED,
            _ => 0.0,
        };
        3.0 * self.room.shared(&other.room)
            + 3.0 * (through(&self.room, other.leader) + through(&other.room, self.leader))
            + across
    }
}

/// Whether two lines cross.
fn cross([a, b]: Line, [c, d]: Line) -> bool {
    let side =
        |p: (f64, f64), q: (f64, f64), r: (f64, f64)| (q.0 - p.0) * (r.1 - p.1) - (q.1 - p.1) * (r.0 - p.0);
    side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
}

/// Labels, and how well they found room.
pub(super) struct Placed {
    /// In the order of what they name.
    pub(super) labels: Vec<Label>,
    /// What their places cost together.
    pub(super) cost: f64,
    /// How much of labels lies on things, on other labels or off the sheet: square drawing units.
    pub(super) covered: f64,
}

/// The labels of `named`.
pub(super) fn place(named: &[Named], ground: &Ground<'_>) -> Placed {
    let things: Vec<Rect> = named.iter().map(|thing| Rect::around(thing.at, thing.half)).collect();
    let spots: Vec<Vec<Spot>> = named
        .iter()
        .enumerate()
        .map(|(at, thing)| {
            let mut spots = spots(thing);
            for spot in &mut spots {
                spot.cost += covering(&spot.room, &things, ground);
                let own = spot.room.gap(&things[at]);
                let is_astray = things.iter().any(|other| spot.room.gap(other) + GAP / 2.0 < own);
                spot.cost += if is_astray { ASTRAY } else { 0.0 };
                let others = things.iter().enumerate().filter(|(other, _)| *other != at);
                let through = |line: Line| others.map(|(_, thing)| thing.crossed_by(line)).sum::<f64>();
                spot.cost += 3.0 * spot.leader.map_or(0.0, through);
            }
            spots
        })
        .collect();
    let mut taken: Vec<Option<Spot>> = vec![None; named.len()];
    for _ in 0..ROUNDS {
        for (at, spots) in spots.iter().enumerate() {
            let cost = |spot: &Spot| {
                let others = taken.iter().enumerate().filter(|(other, _)| *other != at);
                spot.cost + others.filter_map(|(_, it)| *it).map(|it| it.conflict(spot)).sum::<f64>()
            };
            taken[at] = spots.iter().copied().min_by(|a, b| cost(a).total_cmp(&cost(b)));
        }
    }
    let rooms: Vec<Spot> = taken.iter().copied().flatten().collect();
    let on_others = |at: usize| rooms[at + 1..].iter().map(|it| it.room.shared(&rooms[at].room)).sum::<f64>();
    let conflicts = |at: usize| rooms[at + 1..].iter().map(|it| it.conflict(&rooms[at])).sum::<f64>();
    let on_things = |spot: &Spot| {
        let things = things.iter().chain(&ground.things).map(|thing| thing.shared(&spot.room));
        things.sum::<f64>() + spot.room.area() - spot.room.shared(&ground.sheet)
    };
    let between: f64 = (0..rooms.len()).map(on_others).sum();
    Placed {
        labels: named.iter().zip(taken).map(|(thing, spot)| label(thing, spot)).collect(),
        cost: rooms.iter().map(|spot| spot.cost).sum::<f64>() + (0..rooms.len()).map(conflicts).sum::<f64>(),
        covered: rooms.iter().map(on_things).sum::<f64>() + between,
    }
}

/// What it costs to cover things and pipes there, and to leave the sheet.
fn covering(room: &Rect, things: &[Rect], ground: &Ground<'_>) -> f64 {
    let things: f64 = things.iter().chain(&ground.things).map(|thing| thing.shared(room)).sum();
    let pipes: f64 = ground.pipes.iter().map(|pipe| room.crossed_by(*pipe)).sum();
    let outside = room.area() - room.shared(&ground.sheet);
    3.0 * things + 2.0 * pipes + 20.0 * outside
}

/// Places around a thing, those preferred first.
fn spots(thing: &Named) -> Vec<Spot> {
    let (half_w, half_h) = (width(&thing.lines) / 2.0, LINE * thing.lines.len() as f64 / 2.0);
    let around = [
        (0.0, 1.0),
        (0.0, -1.0),
        (1.0, 0.0),
        (-1.0, 0.0),
        (1.0, 1.0),
        (-1.0, 1.0),
        (1.0, -1.0),
        (-1.0, -1.0),
    ];
    let mut spots = Vec::with_capacity(around.len() * OFF.len());
    for off in OFF {
        for (rank, (to_x, to_y)) in around.into_iter().enumerate() {
            // At a slant, the corner of the words meets the rim of the thing.
            let slant = if to_x != 0.0 && to_y != 0.0 { std::f64::consts::FRAC_1_SQRT_2 } else { 1.0 };
            let x = thing.at.0 + to_x * (slant * (thing.half.0 + off) + GAP + half_w);
            let y = thing.at.1 + to_y * (slant * (thing.half.1 + off) + GAP / 2.0 + half_h);
            let cost = 6.0 * rank as f64 + 4.0 * off;
            let room = Rect::around((x, y), (half_w, half_h));
            let end = (thing.at.0.clamp(room.left, room.right), thing.at.1.clamp(room.top, room.bottom));
            spots.push(Spot { room, cost, leader: (off > 0.0).then_some([thing.at, end]) });
        }
    }
    spots
}

fn width(lines: &[String]) -> f64 {
    let size = |line: usize| TYPE[line.min(1)];
    lines
        .iter()
        .enumerate()
        .map(|(at, line)| line.chars().count() as f64 * size(at) * ADVANCE)
        .fold(0.0, f64::max)
}

fn label(thing: &Named, spot: Option<Spot>) -> Label {
    let Some(Spot { room, leader, .. }) = spot else { return Label { lines: Vec::new(), leader: None } };
    let middle = f64::midpoint(room.left, room.right);
    let baseline = |line: usize| (middle, room.top + LINE * (line as f64 + 0.8));
    Label { lines: (0..thing.lines.len()).map(baseline).collect(), leader }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn basin(x: f64, y: f64) -> Named {
        Named { at: (x, y), half: (20.0, 20.0), lines: vec!["medlar tree".into(), "got 8 % of 25 %".into()] }
    }

    const SHEET: Rect = Rect { left: 0.0, top: 0.0, right: 360.0, bottom: 400.0 };

    /// The room that a label takes.
    fn room(thing: &Named, label: &Label) -> Rect {
        let half = width(&thing.lines) / 2.0;
        let ((x, first), (_, last)) = (label.lines[0], label.lines[label.lines.len() - 1]);
        Rect { left: x - half, top: first - 0.8 * LINE, right: x + half, bottom: last + 0.2 * LINE }
    }

    fn assert_clear(named: &[Named], pipes: &[[(f64, f64); 2]]) {
        let ground = Ground { sheet: SHEET, things: Vec::new(), pipes };
        let labels = place(named, &ground).labels;
        let rooms: Vec<Rect> = named.iter().zip(&labels).map(|(thing, label)| room(thing, label)).collect();
        for (at, mine) in rooms.iter().enumerate() {
            for thing in named {
                assert!(
                    mine.shared(&Rect::around(thing.at, thing.half)) < 1.0,
                    "label {at} covers a thing: {mine:?}"
                );
            }
            for (other, theirs) in rooms.iter().enumerate().skip(at + 1) {
                assert!(mine.shared(theirs) < 1.0, "labels {at} and {other} cover each other");
            }
            assert!(mine.area() - mine.shared(&SHEET) < 1.0, "label {at} leaves the sheet: {mine:?}");
        }
    }

    #[test]
    fn words_stand_under_their_thing_where_there_is_room() {
        let ground = Ground { sheet: SHEET, things: Vec::new(), pipes: &[] };
        let [label] = &place(&[basin(180.0, 100.0)], &ground).labels[..] else { panic!() };
        assert!(
            label.leader.is_none()
                && label.lines.iter().all(|(x, y)| (*x - 180.0).abs() < 1e-9 && *y > 120.0),
            "{label:?}"
        );
    }

    #[test]
    fn labels_of_crowded_basins_cover_nothing() {
        assert_clear(
            &[basin(280.0, 60.0), basin(280.0, 108.0), basin(280.0, 156.0), basin(280.0, 204.0)],
            &[],
        );
        assert_clear(&[basin(60.0, 60.0), basin(110.0, 60.0), basin(60.0, 110.0), basin(110.0, 110.0)], &[]);
        assert_clear(&[basin(30.0, 380.0), basin(330.0, 380.0), basin(30.0, 20.0)], &[]);
    }

    #[test]
    fn leaders_do_not_cross() {
        let crosses = |a, b| cross(a, b) && cross(b, a);
        assert!(crosses([(0.0, 0.0), (10.0, 10.0)], [(0.0, 10.0), (10.0, 0.0)]));
        assert!(!crosses([(0.0, 0.0), (10.0, 10.0)], [(0.0, 10.0), (4.0, 6.0)]));
        let near: Vec<Named> = (0..7)
            .map(|n| basin(150.0 + 14.0 * f64::from(n), 180.0 + 12.0 * f64::from(n % 3)))
            .map(|thing| Named { half: (10.0, 5.0), ..thing })
            .collect();
        let ground = Ground { sheet: SHEET, things: Vec::new(), pipes: &[] };
        let leaders: Vec<Line> = place(&near, &ground).labels.iter().filter_map(|it| it.leader).collect();
        assert!(leaders.len() > 2, "{leaders:?}");
        for (at, leader) in leaders.iter().enumerate() {
            assert!(!leaders[at + 1..].iter().any(|other| cross(*leader, *other)), "{leaders:?}");
        }
    }

    #[test]
    fn words_stand_nearer_to_their_own_thing_than_to_another() {
        let column: Vec<Named> = (0..6).map(|n| basin(180.0, 40.0 + 56.0 * f64::from(n))).collect();
        let ground = Ground { sheet: SHEET, things: Vec::new(), pipes: &[] };
        let labels = place(&column, &ground).labels;
        let things: Vec<Rect> = column.iter().map(|thing| Rect::around(thing.at, thing.half)).collect();
        for (at, (thing, label)) in column.iter().zip(&labels).enumerate() {
            let gaps = things.iter().map(|other| room(thing, label).gap(other));
            let nearest = gaps.enumerate().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap().0;
            assert_eq!(nearest, at, "{label:?}");
        }
    }

    #[test]
    fn what_finds_no_room_is_told() {
        let ground = Ground { sheet: SHEET, things: Vec::new(), pipes: &[] };
        let free = place(&[basin(180.0, 100.0)], &ground);
        assert!(free.covered < 1e-9, "{}", free.covered);
        let small = Ground {
            sheet: Rect { left: 150.0, top: 70.0, right: 210.0, bottom: 130.0 },
            things: Vec::new(),
            pipes: &[],
        };
        let tight = place(&[basin(180.0, 100.0)], &small);
        assert!(tight.covered > 100.0 && tight.cost > free.cost, "{}", tight.covered);
    }

    #[test]
    fn words_keep_off_pipes_where_they_can() {
        let pipes = [[(180.0, 100.0), (180.0, 400.0)]];
        let ground = Ground { sheet: SHEET, things: Vec::new(), pipes: &pipes };
        let named = [basin(180.0, 100.0)];
        let label = &place(&named, &ground).labels[0];
        assert!(room(&named[0], label).crossed_by(pipes[0]) < 1e-9, "{label:?}");
    }

    #[test]
    fn a_line_is_measured_only_inside() {
        let square = Rect { left: 0.0, top: 0.0, right: 10.0, bottom: 10.0 };
        assert!((square.crossed_by([(-5.0, 5.0), (5.0, 5.0)]) - 5.0).abs() < 1e-9);
        assert!((square.crossed_by([(-5.0, -5.0), (20.0, 20.0)]) - 200.0_f64.sqrt()).abs() < 1e-9);
        assert!(square.crossed_by([(20.0, 0.0), (20.0, 10.0)]) < 1e-9);
    }
}
