//! Words for a kappa. Their cut points are conventions, arbitrary by their authors' own account, so a word
//! is printed only with its scheme named. Values between two printed cut points (.205) go by the upper
//! end of the lower class (cut points and words from memory).

use super::pair::Agreement;

/// Whose words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scheme {
    /// Landis & Koch 1977, Biometrics 33:159–174.
    LandisKoch,
    /// Fleiss 1981, Statistical Methods for Rates and Proportions.
    Fleiss,
    /// Altman 1991, Practical Statistics for Medical Research.
    Altman,
}

impl Scheme {
    /// As it is named beside its words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::LandisKoch => "Landis & Koch 1977",
            Self::Fleiss => "Fleiss 1981",
            Self::Altman => "Altman 1991",
        }
    }

    /// Its word for a kappa.
    #[must_use]
    pub fn word(self, kappa: f64) -> &'static str {
        let classes: &[(f64, &'static str)] = match self {
            Self::LandisKoch if kappa < 0.0 => return "poor",
            Self::LandisKoch => &[
                (0.2, "slight"),
                (0.4, "fair"),
                (0.6, "moderate"),
                (0.8, "substantial"),
                (1.0, "almost perfect"),
            ],
            Self::Fleiss if kappa < 0.4 => return "poor",
            Self::Fleiss => &[(0.75, "fair to good"), (1.0, "excellent")],
            Self::Altman => {
                &[(0.2, "poor"), (0.4, "fair"), (0.6, "moderate"), (0.8, "good"), (1.0, "very good")]
            }
        };
        let last = classes.last().map_or("", |class| class.1);
        classes.iter().find(|(end, _)| kappa <= *end).map_or(last, |class| class.1)
    }

    /// Puts its word beside each kappa.
    pub fn put_on(self, found: &mut Agreement) {
        found.scheme = Some(self.name());
        let word = |kappa: Option<f64>| kappa.map(|kappa| self.word(kappa));
        for pair in &mut found.pairs {
            for set in pair.sets.iter_mut().chain(&mut pair.states) {
                set.word = word(set.kappa);
                for own in &mut set.behaviours {
                    own.word = word(own.kappa);
                }
            }
            if let Some(own) = &mut pair.samples {
                for set in &mut own.sets {
                    set.word = word(set.kappa);
                }
                let of_sets = own.sets.iter_mut().flat_map(|set| &mut set.behaviours);
                for own in of_sets.chain(&mut own.behaviours) {
                    own.word = word(own.kappa);
                }
            }
            for own in &mut pair.event_tables {
                own.word = word(own.kappa);
            }
            if let Some(own) = &mut pair.concern {
                own.word = word(own.kappa);
            }
            if let Some(own) = &mut pair.presentations {
                own.word = word(own.kappa);
            }
        }
        for set in &mut found.pooled {
            set.word = word(set.kappa);
            for own in &mut set.behaviours {
                own.word = word(own.kappa);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_scheme_has_its_own_word() {
        let words = |kappa: f64| {
            [Scheme::LandisKoch, Scheme::Fleiss, Scheme::Altman].map(|scheme| scheme.word(kappa))
        };
        assert_eq!(words(-0.1), ["poor", "poor", "poor"]);
        assert_eq!(words(0.0), ["slight", "poor", "poor"]);
        assert_eq!(words(0.4), ["fair", "fair to good", "fair"]);
        assert_eq!(words(0.75), ["substantial", "fair to good", "good"]);
        assert_eq!(words(0.903), ["almost perfect", "excellent", "very good"]);
    }
}
