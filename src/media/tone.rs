//! High dynamic range shown on an ordinary screen.
//!
//! What is done, in this order: the signal becomes light (SMPTE ST 2084 "PQ", or ITU-R BT.2100
//! "HLG" with its system gamma of 1.2 for a display of 1000 cd/m²); light is counted in units of the
//! reference white of 203 cd/m² (ITU-R BT.2408); what is above half of that is rolled off so that
//! 1000 cd/m² becomes full white, by the largest of the three colours, so that hues stay; BT.2020
//! colours become BT.709 ones, those outside are cut; a gamma of 2.2 makes it a signal again. The
//! reference white comes out at 88 % of the signal, darker things as light as they were.
//!
//! The colour is worked out once for each chroma sample (four pixels); each pixel of the four keeps its own
//! difference in lightness, by the same curve for grey.

use ffmpeg::color::TransferCharacteristic;
use ffmpeg_next as ffmpeg;

use super::picture::{Matrix, Range};

/// How light was made a signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Curve {
    /// SMPTE ST 2084.
    Pq,
    /// ITU-R BT.2100 hybrid log-gamma.
    Hlg,
}

impl Curve {
    /// The curve of a picture with high dynamic range; `None` for any other.
    pub(super) fn of(raw: &ffmpeg::frame::Video) -> Option<Self> {
        match raw.color_transfer_characteristic() {
            TransferCharacteristic::SMPTE2084 => Some(Self::Pq),
            TransferCharacteristic::ARIB_STD_B67 => Some(Self::Hlg),
            _ => None,
        }
    }

    /// Light of a signal of 0–1: for PQ in reference whites, for HLG that of the scene, 0–1.
    fn light(self, signal: f32) -> f32 {
        let signal = signal.clamp(0.0, 1.0);
        match self {
            // SMPTE ST 2084:2014, equation 4.1.
            Self::Pq => {
                let (m1, m2) = (2610.0 / 16384.0, 2523.0 / 4096.0 * 128.0);
                let (c1, c2, c3) = (3424.0 / 4096.0, 2413.0 / 4096.0 * 32.0, 2392.0 / 4096.0 * 32.0);
                let root = signal.powf(1.0 / m2);
                let part = ((root - c1).max(0.0) / (c2 - c3 * root)).powf(1.0 / m1);
                part * 10_000.0 / REFERENCE_WHITE
            }
            // ITU-R BT.2100-2, table 5.
            Self::Hlg => {
                let (a, b, c) = (0.178_832_77_f32, 0.284_668_92_f32, 0.559_910_7_f32);
                if signal <= 0.5 { signal * signal / 3.0 } else { (((signal - c) / a).exp() + b) / 12.0 }
            }
        }
    }
}

/// cd/m², ITU-R BT.2408.
const REFERENCE_WHITE: f32 = 203.0;
/// Light that becomes full white, cd/m².
const PEAK: f32 = 1000.0;
/// Where the roll-off begins, in reference whites.
const KNEE: f32 = 0.5;
/// Weights of BT.2020 in luminance.
const WEIGHTS: [f32; 3] = [0.2627, 0.6780, 0.0593];
/// Steps of the table of the gamma.
const STEPS: usize = 4096;

/// Light of 0 … peak to 0 … 1.
fn rolled_off(light: f32) -> f32 {
    if light <= KNEE {
        return light;
    }
    let rest = 1.0 - KNEE;
    let (over, most) = ((light - KNEE) / rest, (PEAK / REFERENCE_WHITE - KNEE) / rest);
    let over = over.min(most);
    // Slope 1 where it begins, 1 at the peak.
    KNEE + rest * over * (1.0 + over / (most * most)) / (1.0 + over)
}

/// Tables for one kind of signal.
pub(super) struct Mapper {
    setting: (Curve, Matrix, Range),
    /// Light of each 10-bit signal of a colour.
    light: Vec<f32>,
    /// 10-bit luma of a grey to 8-bit luma, with four more bits.
    grey: Vec<i32>,
    /// Light of 0–1 to signal of 0–1.
    gamma: Vec<f32>,
}

impl Mapper {
    pub(super) fn new(setting: (Curve, Matrix, Range)) -> Self {
        let curve = setting.0;
        #[allow(clippy::cast_precision_loss)] // Small whole numbers.
        let mut mapper = Self {
            setting,
            light: (0..1024).map(|code| curve.light(code as f32 / 1023.0)).collect(),
            grey: Vec::new(),
            gamma: (0..=STEPS).map(|n| (n as f32 / STEPS as f32).powf(1.0 / 2.2)).collect(),
        };
        #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]
        let grey = (0..1024).map(|code| (mapper.shown(code as f32, 512.0, 512.0).0 * 16.0).round() as i32);
        mapper.grey = grey.collect();
        mapper
    }

    pub(super) fn setting(&self) -> (Curve, Matrix, Range) {
        self.setting
    }

    /// Luma and the two chroma values, 10 bit, to 8-bit ones of BT.709 in limited range.
    #[allow(clippy::many_single_char_names)] // Their usual names.
    fn shown(&self, luma: f32, blue: f32, red: f32) -> (f32, f32, f32) {
        let (curve, matrix, range) = self.setting;
        let (offset, luma_range, chroma_range) = match range {
            Range::Limited => (64.0, 876.0, 896.0),
            Range::Full => (0.0, 1023.0, 1023.0),
        };
        let (y, u, v) =
            ((luma - offset) / luma_range, (blue - 512.0) / chroma_range, (red - 512.0) / chroma_range);
        #[allow(clippy::cast_possible_truncation)] // Weights.
        let (kr, kb) = { (matrix.weights().0 as f32, matrix.weights().1 as f32) };
        let r = y + 2.0 * (1.0 - kr) * v;
        let b = y + 2.0 * (1.0 - kb) * u;
        let g = (y - kr * r - kb * b) / (1.0 - kr - kb);
        let mut rgb = [r, g, b].map(|signal| self.light_of(signal));
        if curve == Curve::Hlg {
            let scene: f32 = rgb.iter().zip(WEIGHTS).map(|(light, weight)| light * weight).sum();
            let gain = PEAK / REFERENCE_WHITE * scene.max(1e-6).powf(0.2);
            rgb = rgb.map(|light| light * gain);
        }
        let most = rgb.iter().fold(1e-6_f32, |most, light| most.max(*light));
        let gain = rolled_off(most) / most;
        let [r, g, b] = rgb.map(|light| light * gain);
        // ITU-R BT.2087-0, BT.2020 to BT.709 primaries (the inverse of its matrix).
        let r709 = 1.6605 * r - 0.5876 * g - 0.0728 * b;
        let g709 = -0.1246 * r + 1.1329 * g - 0.0083 * b;
        let b709 = -0.0182 * r - 0.1006 * g + 1.1187 * b;
        let [r, g, b] = [r709, g709, b709].map(|light| self.signal_of(light));
        let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        (16.0 + 219.0 * y, 128.0 + 224.0 * (b - y) / 1.8556, 128.0 + 224.0 * (r - y) / 1.5748)
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Clamped.
    fn light_of(&self, signal: f32) -> f32 {
        let place = (signal.clamp(0.0, 1.0) * 1023.0 + 0.5) as usize;
        self.light.get(place).copied().unwrap_or(0.0)
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::cast_precision_loss)] // Clamped.
    fn signal_of(&self, light: f32) -> f32 {
        let place = light.clamp(0.0, 1.0) * STEPS as f32;
        let below = place as usize;
        let at = |n: usize| self.gamma.get(n).copied().unwrap_or(1.0);
        at(below) + (at(below + 1) - at(below)) * (place - below as f32)
    }

    /// Luma, blue and red planes of a picture of planar 4:2:0 with 10 bits in two bytes.
    pub(super) fn map(
        &self,
        deep: &ffmpeg::frame::Video,
        width: u32,
        height: u32,
    ) -> (Vec<u8>, Vec<u8>, Vec<u8>) {
        let (width, height) = (width as usize, height as usize);
        let (half_width, half_height) = (width.div_ceil(2), height.div_ceil(2));
        let row = |plane: usize, y: usize, length: usize| {
            let from = y * deep.stride(plane);
            deep.data(plane).get(from..from + 2 * length).unwrap_or(&[])
        };
        let sample = |row: &[u8], x: usize| match row.get(2 * x..2 * x + 2) {
            Some([low, high]) => i32::from(u16::from_le_bytes([*low, *high]) & 1023),
            _ => 0,
        };
        let mut luma = vec![0_u8; width * height];
        let (mut blue, mut red) =
            (Vec::with_capacity(half_width * half_height), Vec::with_capacity(half_width * half_height));
        for half_y in 0..half_height {
            let rows = [2 * half_y, (2 * half_y + 1).min(height - 1)];
            let above_below = rows.map(|y| row(0, y, width));
            let (blues, reds) = (row(1, half_y, half_width), row(2, half_y, half_width));
            for half_x in 0..half_width {
                let columns = [2 * half_x, (2 * half_x + 1).min(width - 1)];
                let four = above_below.map(|row| columns.map(|x| sample(row, x)));
                let sum: i32 = four.iter().flatten().sum();
                #[allow(clippy::cast_precision_loss)] // Of 10 bits.
                let (y, u, v) =
                    self.shown(sum as f32 / 4.0, sample(blues, half_x) as f32, sample(reds, half_x) as f32);
                blue.push(byte(u));
                red.push(byte(v));
                // What the colour adds to, or takes from, the lightness of a grey of this luma.
                #[allow(clippy::cast_possible_truncation)] // Within a few hundred.
                let beyond = (y * 16.0).round() as i32 - self.grey_of((sum + 2) / 4);
                for (y, values) in rows.into_iter().zip(four) {
                    for (x, value) in columns.into_iter().zip(values) {
                        let shown = (self.grey_of(value) + beyond + 8) >> 4;
                        if let Some(place) = luma.get_mut(y * width + x) {
                            *place = u8::try_from(shown.clamp(0, 255)).unwrap_or(u8::MAX);
                        }
                    }
                }
            }
        }
        (luma, blue, red)
    }

    fn grey_of(&self, luma: i32) -> i32 {
        usize::try_from(luma).ok().and_then(|place| self.grey.get(place)).copied().unwrap_or(16 * 16)
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // Clamped.
fn byte(value: f32) -> u8 {
    value.round().clamp(0.0, 255.0) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(seen: f32, wanted: f32, by: f32) {
        assert!((seen - wanted).abs() <= by, "{seen} should be {wanted}");
    }

    #[test]
    fn curves_meet_their_published_values() {
        // ITU-R BT.2408-5, table 1: reference white of 203 cd/m² is 58 % PQ and 75 % HLG.
        near(Curve::Pq.light(0.58), 1.0, 0.02);
        near(Curve::Pq.light(1.0) * REFERENCE_WHITE, 10_000.0, 1.0);
        near(Curve::Hlg.light(0.5), 1.0 / 12.0, 1e-5);
        near(Curve::Hlg.light(1.0), 1.0, 1e-3);
        let white = Curve::Hlg.light(0.75);
        near(PEAK * white.powf(1.2), REFERENCE_WHITE, 3.0);
    }

    #[test]
    fn grey_stays_grey_rises_and_white_is_white() {
        for curve in [Curve::Pq, Curve::Hlg] {
            let mapper = Mapper::new((curve, Matrix::Bt2020, Range::Limited));
            assert!(mapper.grey.is_sorted());
            assert_eq!((mapper.grey_of(64) + 8) >> 4, 16, "black");
            let (y, u, v) = mapper.shown(64.0 + 876.0 * 0.5, 512.0, 512.0);
            near(u, 128.0, 0.6);
            near(v, 128.0, 0.6);
            assert!(y > 100.0 && y < 235.0, "{y}");
            near(mapper.shown(940.0, 512.0, 512.0).0, 235.0, 1.0);
        }
        let mapper = Mapper::new((Curve::Pq, Matrix::Bt2020, Range::Limited));
        let white = (mapper.shown(64.0 + 876.0 * 0.58, 512.0, 512.0).0 - 16.0) / 219.0;
        near(white, 0.88, 0.01);
    }

    #[test]
    fn red_stays_red() {
        // BT.2020 red, 40 % of the PQ signal.
        let mapper = Mapper::new((Curve::Pq, Matrix::Bt2020, Range::Limited));
        let y = 0.2627 * 0.4;
        let code = |y: f32| 64.0 + 876.0 * y;
        let (luma, blue, red) =
            mapper.shown(code(y), 512.0 + 896.0 * (0.0 - y) / 1.8814, 512.0 + 896.0 * (0.4 - y) / 1.4746);
        assert!(red > 150.0 && blue < 128.0 && luma > 16.0, "{luma} {blue} {red}");
    }
}
