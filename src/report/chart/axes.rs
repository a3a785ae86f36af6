//! Axes, ticks and grids, drawn by `plotters` onto the canvas.
//!
//! `plotters` counts in whole pixels and leaves text to whoever draws; here it is given tenths of a
//! pixel, and its text becomes outlines. Marks are drawn by the charts themselves, at the exact
//! place [`Frame`] gives them: they need patterns and names that the library does not know.

use std::convert::Infallible;
use std::ops::Range;

use plotters::chart::{ChartBuilder, LabelAreaPosition};
use plotters::coord::ranged1d::{DefaultFormatting, KeyPointHint, Ranged};
use plotters::drawing::{DrawingAreaErrorKind, IntoDrawingArea as _};
use plotters::style::{FontTransform, IntoFont as _, RGBColor, ShapeStyle, TRANSPARENT, TextStyle};
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
};

use super::canvas::Canvas;
use super::letters::{CAPITAL, Font};
use super::look::Colour;
use super::shapes::{Anchor, Area, BODY, Stroke, Style};

/// Parts of a pixel `plotters` counts in.
const PARTS: f64 = 10.0;
const PARTS_INT: u32 = 10;
/// Left of the upright axis' title.
const EDGE: f64 = 12.0;
/// Between a tick and its label.
const TICK: u32 = 5;

/// One axis.
pub(super) struct Axis<'a> {
    /// What it shows, with its unit.
    pub(super) title: &'a str,
    /// From, to.
    pub(super) range: (f64, f64),
    /// Where the ticks are.
    pub(super) ticks: Vec<f64>,
    /// What stands at a tick.
    pub(super) label: &'a dyn Fn(f64) -> String,
}

impl Axis<'_> {
    /// An axis nothing is written at.
    pub(super) fn bare<'a>(from: f64, to: f64) -> Axis<'a> {
        Axis { title: "", range: (from, to), ticks: Vec::new(), label: &|_| String::new() }
    }
}

/// Where values lie.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    /// What the axes enclose.
    pub(super) plot: Area,
    x: (f64, f64),
    y: (f64, f64),
}

impl Frame {
    pub(super) fn x(&self, value: f64) -> f64 {
        self.plot.x + (value - self.x.0) / (self.x.1 - self.x.0) * self.plot.width
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        self.plot.bottom() - (value - self.y.0) / (self.y.1 - self.y.0) * self.plot.height
    }
}

/// Draws two axes around `plot`: labels of y to its left, those of x below it, at most `below` high.
pub(super) fn draw(canvas: &mut Canvas, plot: Area, x: &Axis<'_>, y: &Axis<'_>, below: f64) -> Frame {
    let frame = Frame { plot, x: x.range, y: y.range };
    // The scale is linear and both agree on it; what the library refuses to draw is left out.
    let _ = draw_axes(canvas, plot, below, x, y);
    frame
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Pixels.
fn draw_axes(
    canvas: &mut Canvas,
    plot: Area,
    below: f64,
    x: &Axis<'_>,
    y: &Axis<'_>,
) -> Result<(), DrawingAreaErrorKind<Infallible>> {
    let look = canvas.look;
    let parts = |pixels: f64| (pixels * PARTS).round() as i32;
    let area = Area::new(EDGE, plot.y, plot.right() - EDGE, plot.height + below);
    let root = Backend { canvas, area }.into_drawing_area();
    let style = |colour: Colour, font: &'static str| -> TextStyle<'static> {
        let colour = BackendColor { alpha: 1.0, rgb: (colour.0, colour.1, colour.2) };
        TextStyle { color: colour, ..TextStyle::from((font, BODY * PARTS).into_font()) }
    };
    let mut chart = ChartBuilder::on(&root)
        .set_label_area_size(LabelAreaPosition::Left, parts(plot.x - EDGE))
        .set_label_area_size(LabelAreaPosition::Bottom, parts(below))
        .build_cartesian_2d(Scale::of(x), Scale::of(y))?;
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(hair(look.line))
        .axis_style(hair(look.quiet))
        .set_all_tick_mark_size(TICK * PARTS_INT)
        .x_labels(x.ticks.len())
        .y_labels(y.ticks.len())
        .x_label_formatter(&|value: &f64| (x.label)(*value))
        .y_label_formatter(&|value: &f64| (y.label)(*value))
        .x_label_style(style(look.quiet, "regular"))
        .y_label_style(style(look.quiet, "regular"))
        .axis_desc_style(style(look.text, "regular"))
        .x_desc(x.title)
        .y_desc(y.title)
        .draw()
}

/// A scale as the library wants it, with exactly the ticks of an axis.
struct Scale {
    range: (f64, f64),
    ticks: Vec<f64>,
}

impl Scale {
    fn of(axis: &Axis<'_>) -> Self {
        Self { range: axis.range, ticks: axis.ticks.clone() }
    }
}

impl Ranged for Scale {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    #[allow(clippy::cast_possible_truncation)] // Pixels.
    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        let (from, to) = self.range;
        let share = (value - from) / (to - from);
        (f64::from(limit.0) + share * f64::from(limit.1 - limit.0)).round() as i32
    }

    /// Ticks are given, in whatever detail they are asked for: no light lines between them.
    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        if hint.weight().allow_light_points() { Vec::new() } else { self.ticks.clone() }
    }

    fn range(&self) -> Range<f64> {
        self.range.0..self.range.1
    }
}

fn hair(colour: Colour) -> ShapeStyle {
    plotters::style::Color::stroke_width(&rgb(colour), PARTS_INT)
}

fn rgb(colour: Colour) -> RGBColor {
    RGBColor(colour.0, colour.1, colour.2)
}

/// Part of the canvas, as `plotters` draws on it.
struct Backend<'a> {
    canvas: &'a mut Canvas,
    area: Area,
}

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

impl Backend<'_> {
    fn place(&self, at: BackendCoord) -> (f64, f64) {
        (self.area.x + f64::from(at.0) / PARTS, self.area.y + f64::from(at.1) / PARTS)
    }

    fn stroke<S: BackendStyle>(style: &S) -> Option<Stroke> {
        let color: BackendColor = style.color();
        let (r, g, b) = color.rgb;
        (color.alpha > 0.0).then(|| Stroke::solid(Colour(r, g, b), f64::from(style.stroke_width()) / PARTS))
    }

    fn font<T: BackendTextStyle>(style: &T) -> Font {
        if style.family().as_str() == "mono" { Font::Mono } else { Font::Regular }
    }
}

impl DrawingBackend for Backend<'_> {
    type ErrorType = Infallible;

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Pixels.
    fn get_size(&self) -> (u32, u32) {
        ((self.area.width * PARTS).round() as u32, (self.area.height * PARTS).round() as u32)
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    /// Nothing is drawn pixel by pixel.
    fn draw_pixel(&mut self, _: BackendCoord, _: BackendColor) -> Drawn {
        Ok(())
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> Drawn {
        self.draw_path([from, to], style)
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        if let Some(stroke) = Self::stroke(style) {
            let points: Vec<(f64, f64)> = path.into_iter().map(|at| self.place(at)).collect();
            self.canvas.path(&points, stroke);
        }
        Ok(())
    }

    fn draw_text<T: BackendTextStyle>(&mut self, text: &str, style: &T, at: BackendCoord) -> Drawn {
        let (x, y) = self.place(at);
        let (red, green, blue) = style.color().rgb;
        let size = style.size() / PARTS;
        let anchor = match style.anchor().h_pos {
            HPos::Left => Anchor::Start,
            HPos::Center => Anchor::Middle,
            HPos::Right => Anchor::End,
        };
        let half = size * CAPITAL / 2.0;
        let drop = match style.anchor().v_pos {
            VPos::Top => half,
            VPos::Center => 0.0,
            VPos::Bottom => -half,
        };
        let set = Style { font: Self::font(style), size, colour: Colour(red, green, blue), anchor };
        match style.transform() {
            FontTransform::Rotate270 | FontTransform::Rotate90 => self.canvas.turned(x + drop, y, text, set),
            _ => self.canvas.text(x, y + drop, text, set),
        }
        Ok(())
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Pixels.
    fn estimate_text_size<T: BackendTextStyle>(
        &self,
        text: &str,
        style: &T,
    ) -> Result<(u32, u32), DrawingErrorKind<Infallible>> {
        let width = self.canvas.letters.width(text, Self::font(style), style.size());
        Ok((width.ceil() as u32, (style.size() * CAPITAL).ceil() as u32))
    }
}

/// Round values between two, at most so many.
pub(super) fn ticks(from: f64, to: f64, at_most: usize) -> Vec<f64> {
    steps(from, to, at_most, &[1.0, 2.0, 5.0], 10.0)
}

/// Round seconds between two, at most so many.
pub(super) fn time_ticks(from: f64, to: f64, at_most: usize) -> Vec<f64> {
    let steps = [1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0];
    let wanted = (to - from) / cases(at_most);
    let step = steps.into_iter().find(|step| *step >= wanted);
    step.map_or_else(|| ticks(from, to, at_most), |step| spread(from, to, step))
}

fn steps(from: f64, to: f64, at_most: usize, of: &[f64], base: f64) -> Vec<f64> {
    let wanted = (to - from) / cases(at_most);
    if !wanted.is_finite() || wanted <= 0.0 {
        return Vec::new();
    }
    let power = base.powf(wanted.log(base).floor());
    let step = of.iter().map(|part| part * power).find(|step| *step >= wanted * 0.999_999);
    spread(from, to, step.unwrap_or(power * base))
}

fn spread(from: f64, to: f64, step: f64) -> Vec<f64> {
    let first = (from / step).ceil();
    let mut all = Vec::new();
    let mut k = first;
    // A tick a hair beyond the end is at the end.
    while k * step <= to + step * 1e-9 && all.len() < 200 {
        // No tick at minus nought.
        all.push(k * step + 0.0);
        k += 1.0;
    }
    all
}

#[allow(clippy::cast_precision_loss)] // A few ticks.
fn cases(n: usize) -> f64 {
    n.max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        let fifths = ticks(0.0, 1.0, 5);
        assert_eq!(fifths.len(), 6);
        assert!((fifths[3] - 0.6).abs() < 1e-12);
        assert_eq!(ticks(0.0, 47.0, 6), [0.0, 10.0, 20.0, 30.0, 40.0]);
        assert_eq!(ticks(3.0, 3.0, 5), Vec::<f64>::new());
        assert_eq!(time_ticks(-5.0, 60.0, 8), [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]);
        assert_eq!(time_ticks(0.0, 612.0, 8).len(), 6);
    }
}
