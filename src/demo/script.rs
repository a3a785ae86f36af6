//! What happens in the six sessions. Times are tenths of a second.

/// Tenths of a second.
pub type Tenths = i64;

/// A session.
#[derive(Debug)]
pub struct Script {
    /// Its id.
    pub id: &'static str,
    /// From 1.
    pub number: u8,
    /// The animal.
    pub animal: &'static str,
    /// Step of its plan.
    pub step: u32,
    /// Length, in seconds.
    pub length_s: i64,
    /// Limited hold, in seconds.
    pub hold_s: i64,
    /// Visible seconds still relaxed, still alert, move, explore, feed, cover, defensive.
    pub budget_s: [i64; 7],
    /// Presentations, in order.
    pub trials: &'static [Trial],
    /// Out of sight, in seconds: from, to; empty: spread over the pauses, so many in all.
    pub hidden_s: &'static [(i64, i64)],
    /// Out of sight in all, in seconds.
    pub hidden_total_s: i64,
    /// Cover bouts: after which turn of which presentation (from 1), or at a second; how long.
    pub cover: &'static [Cover],
    /// Approach (true) and retreat outside presentations.
    pub turns_outside: &'static [(Tenths, bool)],
    /// Disturbances.
    pub disturbances: &'static [(Tenths, Tenths)],
    /// Grams of food.
    pub grams: f64,
}

/// A presentation.
#[derive(Debug, Clone, Copy)]
pub struct Trial {
    /// Cue onset; 0: after the one before, pauses of equal length.
    pub cue: Tenths,
    /// Time to orient.
    pub orient: Option<Tenths>,
    /// How it goes.
    pub ending: Ending,
    /// Approach and retreat, in order: `A` and `R`.
    pub turns: &'static str,
}

/// How a presentation goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// Contact after this time.
    Contact(Tenths),
    /// The limited hold runs out.
    Refused,
    /// A disturbance begins after this time.
    Disturbed(Tenths),
    /// A display begins after the first time; the handler backs off after the second.
    Stopped(Tenths, Tenths),
}

/// A bout of cover.
#[derive(Debug, Clone, Copy)]
pub enum Cover {
    /// Right after the last retreat of this presentation, for so many seconds.
    After(usize, i64),
    /// From this second, for so many.
    At(i64, i64),
    /// So many seconds after the cue of this presentation, for so many.
    In(usize, i64, i64),
}

const fn contact(orient: Tenths, after: Tenths, turns: &'static str) -> Trial {
    Trial { cue: 0, orient: Some(orient), ending: Ending::Contact(after), turns }
}

const fn refused(orient: Tenths, turns: &'static str) -> Trial {
    Trial { cue: 0, orient: Some(orient), ending: Ending::Refused, turns }
}

const fn at(cue: Tenths, trial: Trial) -> Trial {
    Trial { cue, ..trial }
}

/// The six sessions.
pub const SESSIONS: &[Script] = &[
    Script {
        id: "s1",
        number: 1,
        animal: "bramble",
        step: 3,
        length_s: 612,
        hold_s: 60,
        budget_s: [118, 190, 96, 60, 46, 60, 0],
        trials: &[
            contact(21, 214, "ARA"),
            contact(34, 330, "ARA"),
            contact(18, 187, "A"),
            contact(40, 402, "ARA"),
            contact(26, 525, "ARA"),
            refused(62, "R"),
            refused(31, ""),
            refused(22, "R"),
            refused(55, ""),
            Trial { cue: 0, orient: None, ending: Ending::Refused, turns: "" },
        ],
        hidden_s: &[],
        hidden_total_s: 42,
        cover: &[Cover::After(6, 26), Cover::In(9, 15, 34)],
        turns_outside: &[],
        disturbances: &[],
        grams: 10.0,
    },
    Script {
        id: "s2",
        number: 2,
        animal: "sorrel",
        step: 3,
        length_s: 845,
        hold_s: 30,
        budget_s: [210, 228, 130, 92, 60, 60, 0],
        trials: &[
            contact(8, 96, "A"),
            contact(11, 122, "ARA"),
            contact(9, 81, "A"),
            refused(16, "AR"),
            contact(7, 179, "ARA"),
            contact(20, 110, "A"),
            refused(12, "AR"),
            contact(9, 144, "A"),
            refused(14, "A"),
            refused(10, ""),
        ],
        hidden_s: &[],
        hidden_total_s: 65,
        cover: &[Cover::After(4, 30), Cover::After(7, 30)],
        turns_outside: &[],
        disturbances: &[],
        grams: 3.0,
    },
    Script {
        id: "s3",
        number: 3,
        animal: "bramble",
        step: 3,
        length_s: 588,
        hold_s: 60,
        budget_s: [150, 126, 124, 64, 88, 18, 0],
        trials: &[
            contact(14, 125, "A"),
            contact(19, 151, "A"),
            contact(12, 108, "A"),
            contact(22, 199, "ARA"),
            contact(16, 140, "A"),
            refused(20, "AR"),
            contact(11, 117, "A"),
            contact(18, 226, "A"),
            contact(15, 133, "A"),
            contact(24, 164, "A"),
        ],
        hidden_s: &[],
        hidden_total_s: 18,
        cover: &[Cover::After(6, 18)],
        // In the pause before the first presentation.
        turns_outside: &[(150, true), (220, false)],
        disturbances: &[],
        grams: 18.0,
    },
    Script {
        id: "s4",
        number: 4,
        animal: "bramble",
        step: 4,
        length_s: 903,
        hold_s: 60,
        budget_s: [160, 250, 110, 48, 42, 170, 0],
        trials: &[
            at(300, contact(17, 172, "A")),
            at(750, contact(20, 205, "ARA")),
            Trial { cue: 1300, orient: Some(44), ending: Ending::Disturbed(310), turns: "" },
            at(2150, refused(98, "R")),
            at(3184, contact(24, 268, "A")),
            at(3800, refused(126, "RAR")),
            at(4900, refused(71, "RAR")),
            Trial { cue: 5900, orient: None, ending: Ending::Refused, turns: "R" },
            at(6635, contact(19, 441, "ARA")),
        ],
        hidden_s: &[(100, 125), (187, 212), (350, 375), (555, 568), (715, 750)],
        hidden_total_s: 123,
        cover: &[Cover::After(4, 45), Cover::After(6, 40), Cover::After(8, 40), Cover::At(760, 45)],
        turns_outside: &[],
        disturbances: &[(1610, 1850), (5700, 5800)],
        grams: 8.0,
    },
    Script {
        id: "s5",
        number: 5,
        animal: "sorrel",
        step: 3,
        length_s: 431,
        hold_s: 30,
        budget_s: [74, 150, 70, 40, 24, 38, 24],
        trials: &[
            at(320, contact(9, 104, "ARA")),
            at(740, contact(10, 158, "A")),
            at(1230, refused(13, "RAR")),
            at(1780, contact(8, 195, "A")),
            at(2270, refused(17, "RAR")),
            at(3100, refused(21, "R")),
            Trial { cue: 3720, orient: Some(15), ending: Ending::Stopped(102, 126), turns: "" },
        ],
        hidden_s: &[(55, 60), (400, 406)],
        hidden_total_s: 11,
        cover: &[Cover::After(6, 38)],
        // While the second display runs: at stop level, so no watch of its own.
        turns_outside: &[(3830, false)],
        disturbances: &[],
        grams: 1.5,
    },
    Script {
        id: "s6",
        number: 6,
        animal: "bramble",
        step: 4,
        length_s: 640,
        hold_s: 60,
        budget_s: [172, 118, 164, 70, 96, 10, 0],
        trials: &[
            contact(12, 98, "A"),
            contact(10, 121, "A"),
            contact(15, 114, "ARA"),
            contact(13, 149, "A"),
            contact(11, 106, "A"),
            contact(16, 137, "A"),
            refused(14, "AR"),
            contact(12, 162, "A"),
            contact(19, 128, "A"),
            contact(13, 183, "A"),
        ],
        hidden_s: &[],
        hidden_total_s: 10,
        cover: &[Cover::After(7, 10)],
        turns_outside: &[(100, true), (6_300, true)],
        disturbances: &[],
        grams: 18.0,
    },
];

/// A presentation with its times.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Laid {
    /// Cue onset.
    pub cue: Tenths,
    /// When the cue is taken away.
    pub cue_end: Tenths,
    /// When the presentation ends.
    pub end: Tenths,
    /// The animal orients.
    pub orient: Option<Tenths>,
    /// Approach (true) and retreat onsets.
    pub turns: Vec<(Tenths, bool)>,
    /// The animal touches the target.
    pub contact: Option<Tenths>,
}

impl Script {
    /// The presentations with their times.
    #[must_use]
    pub fn laid(&self) -> Vec<Laid> {
        let lasts = |trial: &Trial| match trial.ending {
            Ending::Contact(after) | Ending::Disturbed(after) | Ending::Stopped(_, after) => after,
            Ending::Refused => self.hold_s * 10,
        };
        let busy: Tenths = self.trials.iter().map(lasts).sum();
        let count = i64::try_from(self.trials.len()).unwrap_or(1);
        let pause = (self.length_s * 10 - busy) / (count + 1);
        let mut laid: Vec<Laid> = Vec::with_capacity(self.trials.len());
        for trial in self.trials {
            let before = laid.last().map_or(0, |before| before.end);
            let cue = if trial.cue > 0 { trial.cue } else { before + pause };
            let end = cue + lasts(trial);
            let from = trial.orient.unwrap_or(50);
            let parts = i64::try_from(trial.turns.len()).unwrap_or(0) + 1;
            let turns = (1_i64..)
                .zip(trial.turns.chars())
                // Rounded to the nearest tenth.
                .map(|(n, turn)| {
                    (cue + from + ((lasts(trial) - from) * n * 2 + parts) / (parts * 2), turn == 'A')
                })
                .collect();
            let contact = matches!(trial.ending, Ending::Contact(_)).then_some(end);
            let cue_end = match trial.ending {
                Ending::Contact(_) => end + 10,
                Ending::Disturbed(_) => end + 40,
                Ending::Refused | Ending::Stopped(..) => end,
            };
            laid.push(Laid {
                cue,
                cue_end,
                end,
                orient: trial.orient.map(|orient| cue + orient),
                turns,
                contact,
            });
        }
        laid
    }
}
