//! What is to be seen, and how it is drawn: flat shapes, seen from the side.
// Drawing is full of x, y, t and the unit u.
#![allow(clippy::many_single_char_names)]

use tiny_skia::{
    Color, FillRule, GradientStop, LineCap, Paint, PathBuilder, Pixmap, Point, RadialGradient, Rect,
    SpreadMode, Stroke, Transform,
};

use crate::demo::script::Script;
use crate::media::encode;
use crate::model::{Coding, End};
use crate::time::{Micros, Span};

/// Stored width of the film.
pub(super) const WIDTH: u32 = 960;
/// Stored height of the film.
pub(super) const HEIGHT: u32 = 540;

/// Where things are, and what the animal does, along a session.
pub(super) struct Scene {
    is_skink: bool,
    is_far: bool,
    clock: Option<i64>,
    spans: Vec<(String, Span)>,
    moments: Vec<(String, Micros)>,
    /// Place of the animal along the ground, 0 (home) to 1 (the target), at moments in order.
    places: Vec<(Micros, f32)>,
}

impl Scene {
    pub(super) fn new(script: &Script, coding: &Coding, is_far: bool) -> Self {
        let mut spans = Vec::new();
        let mut moments = Vec::new();
        for mark in &coding.marks {
            match mark.to {
                End::At(to) => spans.push((mark.behaviour.to_string(), Span { from: mark.from, to })),
                End::Event | End::Open => moments.push((mark.behaviour.to_string(), mark.from)),
            }
        }
        let clock = (script.number == 4)
            .then(|| super::super::study::session(script).recorded_at)
            .flatten()
            .map(|time| time.timestamp().rem_euclid(86_400));
        let places = places(script);
        Self { is_skink: script.animal == "sorrel", is_far, clock, spans, moments, places }
    }

    fn holds(&self, name: &str, at: Micros) -> Option<Span> {
        self.spans.iter().find(|(own, span)| own == name && span.contains(at)).map(|(_, span)| *span)
    }

    fn activity(&self, at: Micros) -> &str {
        const STATES: [&str; 7] =
            ["still-relaxed", "still-alert", "move", "explore", "feed", "cover", "defensive"];
        let holds = |own: &&(String, Span)| STATES.contains(&own.0.as_str()) && own.1.contains(at);
        self.spans.iter().find(holds).map_or("still-relaxed", |(name, _)| name.as_str())
    }

    fn since(&self, name: &str, at: Micros) -> Option<f32> {
        let last = self
            .moments
            .iter()
            .filter(|(own, from)| own == name && *from <= at)
            .map(|(_, from)| *from)
            .max()?;
        #[allow(clippy::cast_possible_truncation)] // Seconds within a session.
        Some((at - last).seconds() as f32)
    }

    fn place(&self, at: Micros) -> (f32, bool) {
        let after = self.places.partition_point(|(own, _)| *own <= at);
        let before = after.checked_sub(1).and_then(|i| self.places.get(i)).copied();
        match (before, self.places.get(after).copied()) {
            (Some((a, x)), Some((b, y))) => {
                #[allow(clippy::cast_possible_truncation)] // A share.
                let share = ((at - a).seconds() / (b - a).seconds().max(1e-6)) as f32;
                (x + (y - x) * share, (y - x).abs() > 0.005)
            }
            (Some((_, x)), None) | (None, Some((_, x))) => (x, false),
            (None, None) => (0.0, false),
        }
    }
}

/// Goes nearer at each approach and farther at each retreat, to the target for a contact, and home
/// in the pause.
fn places(script: &Script) -> Vec<(Micros, f32)> {
    let micros = |tenths: i64| Micros(tenths * 100_000);
    let mut places = vec![(Micros::ZERO, 0.1)];
    let mut x = 0.1_f32;
    let mut add = |at: i64, lasts: i64, from: f32, to: f32| {
        let start = micros(at);
        if places.last().is_some_and(|(last, _)| *last < start) {
            places.push((start, from));
            places.push((micros(at + lasts), to));
        }
    };
    for laid in script.laid() {
        for (at, near) in &laid.turns {
            let to = if *near { (x + 0.35).min(0.85) } else { (x - 0.3).max(0.0) };
            add(*at, 15, x, to);
            x = to;
        }
        if let Some(contact) = laid.contact {
            add(contact - 8, 8, x, 1.0);
            x = 1.0;
        }
        add(laid.end + 60, 30, x, 0.1);
        x = 0.1;
    }
    places
}

/// Draws pictures, keeping what stays the same.
pub(super) struct Stage {
    ground: Pixmap,
    canvas: Pixmap,
    is_portrait: bool,
    luma: Vec<u8>,
    blue: Vec<u8>,
    red: Vec<u8>,
}

type Rgb = (u8, u8, u8);

const SAND: Rgb = (0xD9, 0xBE, 0x8C);
const WALL: Rgb = (0x6F, 0x8F, 0x7A);
const ROCK: Rgb = (0x7A, 0x6E, 0x63);
const DARK: Rgb = (0x3A, 0x33, 0x2D);
const SHELL: Rgb = (0x5B, 0x44, 0x2A);
const SCUTE: Rgb = (0xA8, 0x7B, 0x3B);
const SKIN: Rgb = (0x8A, 0x73, 0x4F);
const SKINK: Rgb = (0xB7, 0x8E, 0x55);
const BAND: Rgb = (0x6B, 0x4C, 0x2C);
const GLOVE: Rgb = (0x2F, 0x5E, 0x8C);
const TARGET: Rgb = (0xD0, 0x3A, 0x2B);
const LEAF: Rgb = (0x3E, 0x8E, 0x41);

/// Size of the upright picture and the unit things are measured in.
struct Measure {
    width: f32,
    floor: f32,
    unit: f32,
}

impl Stage {
    pub(super) fn new(is_portrait: bool) -> Self {
        let (width, height) = if is_portrait { (HEIGHT, WIDTH) } else { (WIDTH, HEIGHT) };
        // Sizes are not zero: there is a pixmap.
        let blank = || Pixmap::new(width, height).or_else(|| Pixmap::new(1, 1));
        let (mut ground, canvas) = match (blank(), blank()) {
            (Some(ground), Some(canvas)) => (ground, canvas),
            _ => unreachable_pixmaps(),
        };
        draw_ground(&mut ground);
        let size = (WIDTH * HEIGHT) as usize;
        Self {
            ground,
            canvas,
            is_portrait,
            luma: vec![16; size],
            blue: vec![128; size / 4],
            red: vec![128; size / 4],
        }
    }

    /// The picture at a session time, as planes.
    pub(super) fn picture(&mut self, scene: &Scene, at: Micros) -> (&[u8], &[u8], &[u8]) {
        self.canvas.data_mut().copy_from_slice(self.ground.data());
        draw_moving(&mut self.canvas, scene, at);
        self.fill_planes();
        (&self.luma, &self.blue, &self.red)
    }

    /// RGB to BT.709 in limited range, turned as it is stored.
    fn fill_planes(&mut self) {
        let (width, height) = (WIDTH as usize, HEIGHT as usize);
        let shown_width = self.canvas.width() as usize;
        let pixels = self.canvas.data();
        let sample = |x: usize, y: usize| -> (i32, i32, i32) {
            let (column, row) = if self.is_portrait { (height - 1 - y, x) } else { (x, y) };
            let place = (row * shown_width + column) * 4;
            match pixels.get(place..place + 3) {
                Some([r, g, b]) => (i32::from(*r), i32::from(*g), i32::from(*b)),
                _ => (0, 0, 0),
            }
        };
        for y in 0..height {
            for x in 0..width {
                let (r, g, b) = sample(x, y);
                if let Some(luma) = self.luma.get_mut(y * width + x) {
                    *luma = encode::luma(r, g, b);
                }
                if x % 2 == 0 && y % 2 == 0 {
                    let place = y / 2 * (width / 2) + x / 2;
                    let (blue, red) = encode::chroma(r, g, b);
                    if let (Some(own_blue), Some(own_red)) =
                        (self.blue.get_mut(place), self.red.get_mut(place))
                    {
                        *own_blue = blue;
                        *own_red = red;
                    }
                }
            }
        }
    }
}

/// Pixmaps of a constant size always exist; this only satisfies the type.
fn unreachable_pixmaps() -> (Pixmap, Pixmap) {
    loop {
        if let (Some(a), Some(b)) = (Pixmap::new(1, 1), Pixmap::new(1, 1)) {
            return (a, b);
        }
    }
}

fn measure(on: &Pixmap) -> Measure {
    #[allow(clippy::cast_precision_loss)] // Sizes of pictures.
    let (width, height) = (on.width() as f32, on.height() as f32);
    let unit = if height > width { width / 5.2 } else { width / 9.0 };
    Measure { width, floor: height * 0.74, unit }
}

fn paint(colour: Rgb, alpha: u8) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color(Color::from_rgba8(colour.0, colour.1, colour.2, alpha));
    paint.anti_alias = true;
    paint
}

fn oval(on: &mut Pixmap, x: f32, y: f32, rx: f32, ry: f32, colour: Rgb, alpha: u8) {
    let Some(bounds) = Rect::from_ltrb(x - rx, y - ry, x + rx, y + ry) else { return };
    if let Some(path) = PathBuilder::from_oval(bounds) {
        on.fill_path(&path, &paint(colour, alpha), FillRule::Winding, Transform::identity(), None);
    }
}

fn block(on: &mut Pixmap, x: f32, y: f32, width: f32, height: f32, colour: Rgb) {
    if let Some(bounds) = Rect::from_xywh(x, y, width, height) {
        on.fill_rect(bounds, &paint(colour, 255), Transform::identity(), None);
    }
}

fn shape(on: &mut Pixmap, corners: &[(f32, f32)], colour: Rgb) {
    let mut path = PathBuilder::new();
    for (i, (x, y)) in corners.iter().enumerate() {
        if i == 0 { path.move_to(*x, *y) } else { path.line_to(*x, *y) }
    }
    path.close();
    if let Some(path) = path.finish() {
        on.fill_path(&path, &paint(colour, 255), FillRule::Winding, Transform::identity(), None);
    }
}

fn stick(on: &mut Pixmap, from: (f32, f32), to: (f32, f32), width: f32, colour: Rgb) {
    let mut path = PathBuilder::new();
    path.move_to(from.0, from.1);
    path.line_to(to.0, to.1);
    if let Some(path) = path.finish() {
        let stroke = Stroke { width, line_cap: LineCap::Round, ..Stroke::default() };
        on.stroke_path(&path, &paint(colour, 255), &stroke, Transform::identity(), None);
    }
}

fn draw_ground(on: &mut Pixmap) {
    let m = measure(on);
    let u = m.unit;
    on.fill(Color::from_rgba8(WALL.0, WALL.1, WALL.2, 255));
    // Planks of the wall, the floor, some stones.
    for n in 0..12_u8 {
        let x = m.width / 12.0 * f32::from(n);
        block(on, x, 0.0, 1.5, m.floor, (0x64, 0x82, 0x6E));
    }
    let below = m.width.max(2000.0);
    block(on, 0.0, m.floor, m.width, below, SAND);
    block(on, 0.0, m.floor, m.width, u * 0.06, (0xC4, 0xA6, 0x72));
    for n in 0..9_u8 {
        let x = m.width * (0.05 + 0.11 * f32::from(n));
        let y = m.floor + u * (0.5 + 0.17 * f32::from(n * 5 % 4));
        oval(on, x, y, u * 0.09, u * 0.04, (0xB9, 0x9C, 0x6B), 255);
    }
    // The lamp and its light.
    let lamp = m.width * 0.36;
    draw_glow(on, (lamp, u * 0.55), u * 2.6);
    stick(on, (lamp, 0.0), (lamp, u * 0.3), 3.0, DARK);
    shape(
        on,
        &[
            (lamp - u * 0.22, u * 0.55),
            (lamp + u * 0.22, u * 0.55),
            (lamp + u * 0.1, u * 0.25),
            (lamp - u * 0.1, u * 0.25),
        ],
        DARK,
    );
    oval(on, lamp, u * 0.56, u * 0.17, u * 0.07, (0xFF, 0xF2, 0xC4), 255);
    // A plant and a dish.
    let plant = m.width * 0.93;
    for n in 0..5_u8 {
        let lean = u * (f32::from(n) - 2.0) * 0.22;
        stick(
            on,
            (plant, m.floor + u * 0.1),
            (plant + lean, m.floor - u * (0.9 - lean.abs() / u * 0.3)),
            u * 0.09,
            LEAF,
        );
    }
    oval(on, m.width * 0.5, m.floor + u * 0.75, u * 0.5, u * 0.13, (0x8D, 0x99, 0xA6), 255);
    oval(on, m.width * 0.5, m.floor + u * 0.72, u * 0.42, u * 0.09, (0x9C, 0xC7, 0xDD), 255);
    draw_hide(on, &m, false);
}

/// Light that fades from a lamp.
fn draw_glow(on: &mut Pixmap, centre: (f32, f32), r: f32) {
    let warm = |alpha| Color::from_rgba8(0xFF, 0xD8, 0x7A, alpha);
    let stops = vec![GradientStop::new(0.0, warm(140)), GradientStop::new(1.0, warm(0))];
    let middle = Point::from_xy(centre.0, centre.1);
    let light = RadialGradient::new(middle, middle, r, stops, SpreadMode::Pad, Transform::identity());
    let bounds = Rect::from_ltrb(centre.0 - r, 0.0, centre.0 + r, centre.1 + r);
    if let (Some(shader), Some(bounds)) = (light, bounds) {
        let paint = Paint { shader, ..Paint::default() };
        on.fill_rect(bounds, &paint, Transform::identity(), None);
    }
}

/// The hide: its mouth, and in front of an animal inside its upper stone.
fn draw_hide(on: &mut Pixmap, m: &Measure, is_in_front: bool) {
    let (x, u) = (m.unit * 0.95, m.unit);
    oval(on, x, m.floor + u * 0.1, u * 0.95, u * 0.95, ROCK, 255);
    block(on, 0.0, m.floor + u * 0.1, x + u, u, SAND);
    if is_in_front {
        oval(on, x + u * 0.2, m.floor - u * 0.02, u * 0.45, u * 0.42, DARK, 255);
        block(on, 0.0, m.floor + u * 0.1, x + u, u * 0.6, SAND);
    } else {
        oval(on, x + u * 0.2, m.floor + u * 0.1, u * 0.5, u * 0.55, DARK, 255);
        block(on, 0.0, m.floor + u * 0.1, x + u, u, SAND);
    }
}

fn draw_moving(on: &mut Pixmap, scene: &Scene, at: Micros) {
    let m = measure(on);
    let u = m.unit;
    let target_x = m.width * 0.8;
    let reach = if scene.is_skink { 1.05 } else { 1.0 } * u;
    let home = u * 2.2;
    let (place, walks) = scene.place(at);
    let x = home + (target_x - reach - home) * place;
    let is_hidden = scene.holds("out-of-sight", at).is_some();
    let activity = scene.activity(at);
    #[allow(clippy::cast_possible_truncation)] // Seconds within a session.
    let t = at.seconds() as f32;
    if is_hidden {
        draw_hide(on, &m, true);
    } else if scene.is_skink {
        draw_skink(on, &m, x, activity, walks, t);
    } else {
        draw_tortoise(on, &m, x, activity, walks, t);
    }
    // The target on its stick, in a gloved hand from the right.
    if scene.holds("cue", at).is_some() {
        let y = m.floor - u * 0.32;
        stick(on, (target_x + u * 1.9, y - u * 0.9), (target_x, y), u * 0.06, (0xE8, 0xE2, 0xD2));
        oval(on, target_x, y, u * 0.15, u * 0.15, TARGET, 255);
        draw_hand(on, &m, target_x + u * 1.8, y - u * 0.85);
    }
    if scene.since("food", at).is_some_and(|since| since < 3.0) {
        let nose = (x + reach * 0.95, m.floor - u * 0.22);
        stick(on, (nose.0 + u * 1.5, nose.1 - u * 1.0), nose, u * 0.05, (0xC9, 0xCD, 0xD2));
        oval(on, nose.0, nose.1, u * 0.12, u * 0.08, LEAF, 255);
        draw_hand(on, &m, nose.0 + u * 1.5, nose.1 - u * 1.0);
    }
    if let Some(span) = scene.holds("reach-in", at) {
        #[allow(clippy::cast_possible_truncation)] // Seconds.
        let since = (at - span.from).seconds() as f32;
        let near = (since * 0.6).min(1.0);
        draw_hand(on, &m, m.width - (m.width - x - u * 1.9) * near, m.floor - u * 0.7);
    }
    if scene.holds("disturbance", at).is_some() {
        // The pump alarm flashes on the wall.
        let is_on = (t * 2.0).fract() < 0.5;
        oval(
            on,
            m.width * 0.62,
            u * 0.5,
            u * 0.14,
            u * 0.14,
            if is_on { (0xFF, 0x40, 0x30) } else { (0x70, 0x20, 0x18) },
            255,
        );
    }
    if scene.since("marker", at).is_some_and(|since| since < 0.6) {
        oval(on, m.width - u * 0.6, u * 0.5, u * 0.16, u * 0.16, (0xFF, 0xFF, 0xFF), 255);
    }
    // The lamp of the room clicks on: by it the two cameras are aligned.
    if (12.0..12.6).contains(&t) {
        oval(on, m.width * 0.36, u * 0.55, u * 0.5, u * 0.4, (0xFF, 0xFF, 0xFF), 200);
    }
    if scene.is_far {
        // A fixed camera sees greyer.
        if let Some(all) = Rect::from_xywh(0.0, 0.0, m.width, m.width * 2.0) {
            on.fill_rect(all, &paint((0x70, 0x78, 0x80), 40), Transform::identity(), None);
        }
    }
    if let Some(start) = scene.clock {
        #[allow(clippy::cast_possible_truncation)] // Seconds of a day.
        draw_clock(on, u, (start + at.seconds() as i64).rem_euclid(86_400));
    }
}

fn draw_hand(on: &mut Pixmap, m: &Measure, x: f32, y: f32) {
    let u = m.unit;
    stick(on, (m.width + u, y - u * 0.5), (x + u * 0.1, y), u * 0.34, GLOVE);
    oval(on, x, y, u * 0.24, u * 0.2, (0x3A, 0x70, 0xA6), 255);
    stick(on, (x, y), (x - u * 0.2, y + u * 0.1), u * 0.1, (0x3A, 0x70, 0xA6));
}

fn draw_tortoise(on: &mut Pixmap, m: &Measure, x: f32, activity: &str, walks: bool, t: f32) {
    let u = m.unit;
    let y = m.floor + u * 0.12;
    let moves = walks || activity == "move";
    let swing = if moves { (t * 5.0).sin() * u * 0.12 } else { 0.0 };
    let is_in = activity == "cover";
    if !is_in {
        for (place, sign) in [(-0.45, 1.0), (0.4, -1.0)] {
            stick(
                on,
                (x + u * place, y - u * 0.2),
                (x + u * place + swing * sign, y + u * 0.06),
                u * 0.2,
                SKIN,
            );
        }
        // Neck and head: low, raised, busy, or at the food.
        let (reach, lift) = match activity {
            "still-alert" => (0.78, 0.62),
            "explore" => (0.86, 0.22 + (t * 4.0).sin() * 0.05),
            "feed" => (0.84, 0.02 + (t * 6.0).sin().abs() * 0.06),
            "move" => (0.85, 0.4),
            _ => (0.78, 0.16),
        };
        let head = (x + u * reach, y - u * 0.2 - u * lift);
        stick(on, (x + u * 0.45, y - u * 0.28), head, u * 0.16, SKIN);
        oval(on, head.0 + u * 0.05, head.1, u * 0.17, u * 0.13, SKIN, 255);
        oval(on, head.0 + u * 0.11, head.1 - u * 0.03, u * 0.026, u * 0.03, DARK, 255);
        if activity == "explore" {
            stick(
                on,
                (head.0 + u * 0.2, head.1 + u * 0.03),
                (head.0 + u * 0.3, head.1 + u * 0.06),
                u * 0.03,
                TARGET,
            );
        }
    }
    let drop = if is_in { u * 0.08 } else { 0.0 };
    oval(on, x, y - u * 0.32 + drop, u * 0.68, u * 0.44, SHELL, 255);
    for (dx, dy, r) in
        [(-0.36, 0.34, 0.13), (-0.1, 0.47, 0.16), (0.2, 0.45, 0.15), (0.42, 0.3, 0.1), (0.02, 0.2, 0.13)]
    {
        oval(on, x + u * dx, y - u * dy + drop, u * r, u * r * 0.8, SCUTE, 255);
    }
    block(on, x - u * 0.66, y - u * 0.13 + drop, u * 1.32, u * 0.1, (0x4A, 0x37, 0x22));
}

fn draw_skink(on: &mut Pixmap, m: &Measure, x: f32, activity: &str, walks: bool, t: f32) {
    let u = m.unit;
    let y = m.floor + u * 0.1;
    let is_defensive = activity == "defensive";
    let puff = if is_defensive { 1.55 } else { 1.0 };
    let wave = if walks || activity == "move" { (t * 6.0).sin() * u * 0.06 } else { 0.0 };
    shape(
        on,
        &[(x - u * 0.55, y - u * 0.3), (x - u * 1.5, y - u * 0.02 + wave), (x - u * 0.55, y - u * 0.02)],
        SKINK,
    );
    for (place, sign) in [(-0.4, 1.0), (0.38, -1.0)] {
        stick(
            on,
            (x + u * place, y - u * 0.1),
            (x + u * place + wave * sign * 2.0, y + u * 0.05),
            u * 0.09,
            BAND,
        );
    }
    oval(on, x, y - u * 0.18 * puff, u * 0.72, u * 0.19 * puff, SKINK, 255);
    for n in 0..4_u8 {
        let dx = u * (-0.42 + 0.26 * f32::from(n));
        block(on, x + dx, y - u * 0.3 * puff, u * 0.08, u * 0.22 * puff, BAND);
    }
    let lift = match activity {
        "still-alert" => 0.28,
        "defensive" => 0.34,
        "explore" => 0.05 + (t * 4.0).sin() * 0.04,
        "cover" | "feed" => -0.08,
        _ => 0.04,
    };
    let head = (x + u * 0.82, y - u * 0.2 - u * lift);
    stick(on, (x + u * 0.55, y - u * 0.2), head, u * 0.22, SKINK);
    if is_defensive {
        shape(
            on,
            &[
                (head.0 - u * 0.05, head.1 - u * 0.14),
                (head.0 + u * 0.3, head.1 - u * 0.16),
                (head.0, head.1),
            ],
            SKINK,
        );
        shape(
            on,
            &[
                (head.0 - u * 0.05, head.1 + u * 0.14),
                (head.0 + u * 0.28, head.1 + u * 0.14),
                (head.0, head.1),
            ],
            SKINK,
        );
        stick(on, (head.0 + u * 0.05, head.1), (head.0 + u * 0.38, head.1), u * 0.08, (0x3D, 0x6F, 0xC4));
    } else {
        oval(on, head.0 + u * 0.05, head.1, u * 0.2, u * 0.12, SKINK, 255);
        let flick = activity == "explore" && (t * 3.0).fract() < 0.5;
        if flick {
            stick(
                on,
                (head.0 + u * 0.22, head.1 + u * 0.02),
                (head.0 + u * 0.36, head.1 + u * 0.05),
                u * 0.05,
                (0x3D, 0x6F, 0xC4),
            );
        }
    }
    if activity == "cover" {
        // Head pressed under a flat stone.
        oval(on, x + u * 0.95, y - u * 0.08, u * 0.5, u * 0.24, ROCK, 255);
    } else {
        oval(on, head.0 + u * 0.08, head.1 - u * 0.05, u * 0.028, u * 0.028, DARK, 255);
    }
}

/// Hours, minutes and seconds in seven bars each, as a fixed camera writes them.
fn draw_clock(on: &mut Pixmap, u: f32, seconds: i64) {
    // Bars: top, upper left, upper right, middle, lower left, lower right, bottom.
    const BARS: [u8; 10] = [
        0b111_0111, 0b001_0010, 0b101_1101, 0b101_1011, 0b011_1010, 0b110_1011, 0b110_1111, 0b101_0010,
        0b111_1111, 0b111_1011,
    ];
    let digits = [
        seconds / 36_000,
        seconds / 3_600 % 10,
        seconds / 600 % 6,
        seconds / 60 % 10,
        seconds / 10 % 6,
        seconds % 10,
    ];
    let (w, h, ink) = (u * 0.16, u * 0.15, (0xF4, 0xF4, 0xF0));
    block(on, u * 0.12, u * 0.12, u * 2.25, u * 0.5, (0x20, 0x20, 0x20));
    let mut x = u * 0.22;
    for (i, digit) in digits.into_iter().enumerate() {
        let bars = usize::try_from(digit).ok().and_then(|digit| BARS.get(digit)).copied().unwrap_or(0);
        let y = u * 0.22;
        let places = [
            ((0.0, 0.0), (w, 0.0)),
            ((0.0, 0.0), (0.0, h)),
            ((w, 0.0), (w, h)),
            ((0.0, h), (w, h)),
            ((0.0, h), (0.0, 2.0 * h)),
            ((w, h), (w, 2.0 * h)),
            ((0.0, 2.0 * h), (w, 2.0 * h)),
        ];
        for (n, (from, to)) in places.into_iter().enumerate() {
            if bars >> (6 - n) & 1 == 1 {
                stick(on, (x + from.0, y + from.1), (x + to.0, y + to.1), u * 0.035, ink);
            }
        }
        x += w + u * 0.13;
        if i == 1 || i == 3 {
            oval(on, x, y + h * 0.6, u * 0.025, u * 0.025, ink, 255);
            oval(on, x, y + h * 1.4, u * 0.025, u * 0.025, ink, 255);
            x += u * 0.12;
        }
    }
}
