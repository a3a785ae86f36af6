//! What unequal labels and unequal coders do to kappa, and what is printed beside it for that.
//!
//! Kappa is low where one label fills the record, however well two people agree (Feinstein &
//! Cicchetti 1990, J Clin Epidemiol 43:543–549). These values say why; none replaces kappa.

use super::kappa::{NoKappa, Table};
use super::multi_rater::{Chance, Coefficient, Ratings};
use super::weighted::Weights;

impl Table {
    /// (a − d)/n of a table of two labels `[[a, b], [c, d]]`, signed: above 0 the first label is the
    /// common one (Byrt, Bishop & Carlin 1993, J Clin Epidemiol 46:423–429, who print |a − d|/n).
    ///
    /// # Errors
    /// With any other number of labels, or when nothing was compared.
    pub fn prevalence_index(&self) -> Result<f64, NoKappa> {
        self.of_two_labels(|[[a, _], [_, d]]| a - d)
    }

    /// (b − c)/n, signed: above 0 the first coder gives the first label more often (same source).
    ///
    /// # Errors
    /// As [`Table::prevalence_index`].
    pub fn bias_index(&self) -> Result<f64, NoKappa> {
        self.of_two_labels(|[[_, b], [c, _]]| b - c)
    }

    fn of_two_labels(&self, over: impl Fn([[f64; 2]; 2]) -> f64) -> Result<f64, NoKappa> {
        if self.size() != 2 {
            return Err(NoKappa::NotTwoLabels);
        }
        let total = self.total();
        if total <= 0.0 {
            return Err(NoKappa::NothingCompared);
        }
        let cell = |row, column| self.cell(row, column);
        Ok(over([[cell(0, 0), cell(0, 1)], [cell(1, 0), cell(1, 1)]]) / total)
    }

    /// 2 n_ii/(n_i· + n_·i): of the time or the units either gave this label, how much both did. With
    /// two labels these are the positive and the negative agreement (Cicchetti & Feinstein 1990, J
    /// Clin Epidemiol 43:551–558).
    ///
    /// # Errors
    /// [`NoKappa::DidNotOccur`] when neither gave it.
    pub fn specific_agreement(&self, label: usize) -> Result<f64, NoKappa> {
        let either = self.row(label) + self.column(label);
        if either > 0.0 { Ok(2.0 * self.cell(label, label) / either) } else { Err(NoKappa::DidNotOccur) }
    }

    /// Scott's pi (1955, Public Opin Q 19:321–325): chance from the mean of both margins,
    /// p_e = Σ ((p_i· + p_·i)/2)². With two labels the bias-adjusted kappa of Byrt et al.; Fleiss' kappa
    /// of two people.
    ///
    /// # Errors
    /// When it is not defined.
    pub fn scott_pi(&self) -> Result<Coefficient, NoKappa> {
        Ratings::from_table(self).coefficient(Chance::Margins, &Weights::Nominal)
    }

    /// Brennan & Prediger's kappa (1981, Educ Psychol Meas 41:687–699): every label equally likely,
    /// (k·p_o − 1)/(k − 1). With two labels the prevalence- and bias-adjusted kappa, 2 p_o − 1. k is
    /// the length of the list of labels, used or not.
    ///
    /// # Errors
    /// When it is not defined.
    pub fn brennan_prediger(&self) -> Result<Coefficient, NoKappa> {
        Ratings::from_table(self).coefficient(Chance::Even, &Weights::Nominal)
    }

    /// Gwet's AC1 (2008, Br J Math Stat Psychol 61:29–48) of two coders.
    ///
    /// # Errors
    /// When it is not defined.
    pub fn gwet_ac1(&self) -> Result<Coefficient, NoKappa> {
        Ratings::from_table(self).coefficient(Chance::Gwet, &Weights::Nominal)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(a: f64, b: f64, c: f64, d: f64) -> Table {
        Table::from_rows(&[vec![a, b], vec![c, d]]).unwrap()
    }

    #[test]
    fn the_same_agreement_under_two_prevalences() {
        // Byrt et al. 1993 on the tables of Feinstein & Cicchetti: 85 % agreement, PABAK .70 in both
        // (from memory, recomputed).
        let (even, uneven) = (table(40.0, 9.0, 6.0, 45.0), table(80.0, 10.0, 5.0, 5.0));
        for own in [&even, &uneven] {
            assert!((own.brennan_prediger().unwrap().value - 0.70).abs() < 1e-12);
        }
        assert!((even.prevalence_index().unwrap() + 0.05).abs() < 1e-12);
        assert!((uneven.prevalence_index().unwrap() - 0.75).abs() < 1e-12);
        assert!((uneven.bias_index().unwrap() - 0.05).abs() < 1e-12);
        assert!((uneven.specific_agreement(1).unwrap() - 0.4).abs() < 1e-12);
    }

    #[test]
    fn edges_have_reasons() {
        let nothing = table(0.0, 0.0, 0.0, 0.0);
        assert_eq!(nothing.prevalence_index(), Err(NoKappa::NothingCompared));
        assert_eq!(nothing.specific_agreement(0), Err(NoKappa::DidNotOccur));
        assert_eq!(nothing.scott_pi(), Err(NoKappa::NothingCompared));
        let three = Table::from_rows(&vec![vec![1.0; 3]; 3]).unwrap();
        assert_eq!(three.bias_index(), Err(NoKappa::NotTwoLabels));
        assert_eq!(table(9.0, 0.0, 0.0, 0.0).scott_pi(), Err(NoKappa::NoVariation));
        // Even chance does not depend on what was used.
        assert_eq!(table(9.0, 0.0, 0.0, 0.0).brennan_prediger().unwrap().value, 1.0);
        let one = Table::from_rows(&[vec![3.0]]).unwrap();
        assert_eq!(one.brennan_prediger(), Err(NoKappa::NoVariation));
        assert_eq!(one.gwet_ac1(), Err(NoKappa::NoVariation));
    }
}
