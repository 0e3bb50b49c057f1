//! Posteriors against worked examples from textbooks, quantiles against published tables.

use std::collections::BTreeMap;

use trade::history::quantile::{beta, student};
use trade::history::{Downgraded, Downgrades, Spread, Strength, Weights, share_of};
use trade::ids::Family;

/// One prior and one family that is all there is: the textbook's case.
fn one_level(strength: f64) -> Strength {
    Strength { outlet: strength, family: f64::INFINITY }
}

fn close(one: f64, other: f64, within: f64) {
    assert!((one - other).abs() <= within, "{one} is not {other} within {within}");
}

/// P. D. Hoff, A First Course in Bayesian Statistical Methods, 5.3, from memory: lengths of nine midges' wings, a prior mean
/// of 1.9 worth one observation and a prior variance of 0.01 worth one. Posterior: mean 1.814 worth ten, variance 0.015
/// worth ten.
#[test]
fn weights_follow_the_conjugate_normal_of_the_textbook() {
    let wings = vec![1.64, 1.70, 1.72, 1.74, 1.82, 1.82, 1.82, 1.90, 2.08];
    let family = Family::from("wings");
    let learned = Weights::learn(
        1.9,
        &BTreeMap::from([(family.clone(), wings)]),
        one_level(1.0),
        Spread { deviation: 0.1, strength: 1.0 },
    );
    close(learned.mean(Some(&family)), 1.814, 0.0005);
    close(learned.pooled.behind(Some(&family)), 10.0, 1e-9);
    close(learned.degrees(), 10.0, 1e-9);
    // The next wing varies by the variance itself and by a tenth of it for the mean; t with ten degrees from the table.
    let (low, high) = learned.next(Some(&family));
    let variance = ((high - low) / 2.0 / 1.372).powi(2) / 1.1;
    close(variance, 0.015, 0.0005);
    close((low + high) / 2.0, 1.814, 0.0005);
}

/// Gelman and others, Bayesian Data Analysis, 2.4, from memory: of 980 births with placenta previa 437 were girls. From a
/// uniform prior the posterior is Beta(438, 544): mean 0.446, 95 % from 0.415 to 0.477.
#[test]
fn downgrades_follow_the_conjugate_beta_of_the_textbook() {
    let family = Family::from("births");
    let births = (0..980).map(|n| Downgraded { part: f64::from(u8::from(n < 437)), drop: 0.2 }).collect();
    // The uniform prior is two observations, half of them girls.
    let learned = Downgrades::learn(
        Downgraded { part: 0.5, drop: 0.2 },
        &BTreeMap::from([(family.clone(), births)]),
        one_level(2.0),
    );
    close(learned.chance(Some(&family)), 0.446, 0.0005);
    close(learned.chance.behind(Some(&family)), 982.0, 1e-9);
    close(beta(0.025, 438.0, 544.0), 0.415, 0.0005);
    close(beta(0.975, 438.0, 544.0), 0.477, 0.0005);
    close(learned.drop(Some(&family)), 0.2, 1e-12);
}

/// Brown, Cai, DasGupta (2001), from memory: Jeffreys' interval ends at nothing where nothing was seen. Its other end has a
/// closed form for one in one: Beta(3/2, 1/2) at a tenth, checked by the arc sine law it integrates to.
#[test]
fn shares_that_were_never_seen_are_not_impossible() {
    let (low, high) = share_of(0.0, 4.0);
    assert_eq!(low, 0.0);
    assert!((0.2..0.4).contains(&high), "{high}");
    let (mirrored, all) = share_of(4.0, 4.0);
    close(mirrored, 1.0 - high, 1e-9);
    assert_eq!(all, 1.0);
    let (low, high) = share_of(1.0, 1.0);
    assert_eq!(high, 1.0);
    // ∫ √(x/(1−x)) dx = asin √x − √(x(1−x)), times 2/π.
    let area = (low.sqrt().asin() - (low * (1.0 - low)).sqrt()) * std::f64::consts::FRAC_2_PI;
    close(area, 0.1, 1e-9);
}

/// NIST/SEMATECH e-Handbook of Statistical Methods 1.3.6.7.2, from memory: upper critical values of Student's t.
#[test]
fn student_is_the_handbooks() {
    for (degrees, part, value) in [
        (1.0, 0.90, 3.078),
        (1.0, 0.975, 12.706),
        (2.0, 0.90, 1.886),
        (4.0, 0.90, 1.533),
        (5.0, 0.95, 2.015),
        (10.0, 0.90, 1.372),
        (10.0, 0.99, 2.764),
        (30.0, 0.90, 1.310),
        (30.0, 0.975, 2.042),
        (100.0, 0.90, 1.290),
        // The last row of the table, which is the normal's.
        (1e5, 0.90, 1.282),
        (1e5, 0.975, 1.960),
    ] {
        close(student(part, degrees), value, 0.00051);
        close(student(1.0 - part, degrees), -value, 0.00051);
    }
}

/// The same, 1.3.6.7.3, from memory: upper critical values of F at 10 %, which is a beta in other clothes.
#[test]
fn beta_is_the_handbooks_f() {
    for (above, under, value) in
        [(1.0, 1.0, 39.863), (1.0, 10.0, 3.285), (5.0, 5.0, 3.453), (10.0, 10.0, 2.323), (4.0, 8.0, 2.806)]
    {
        let share: f64 = beta(0.9, above / 2.0, under / 2.0);
        close(under * share / (above * (1.0 - share)), value, 0.00051);
    }
}
