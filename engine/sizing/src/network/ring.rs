//! Flows in rings by the gradient method of Todini and Pilati.
//!
//! What comes out is a start for the check in `solve`, not a result: nothing here is bounded.

use crate::pipe::Pipe;
use crate::viscosity::Water;

/// A pipe of a ring between two nodes of the group; node 0 is the one whose pressure is given.
pub(super) struct RingPipe<'a> {
    pub from: usize,
    pub to: usize,
    pub pipe: &'a Pipe,
}

/// Enough by far: a ring of house pipes settles in about ten; a pipe without flow halves it each time.
const MOST_ROUNDS: usize = 200;

/// Flow in each pipe (from -> to), m3/s, when each node but the first draws `draws[node]`.
pub(super) fn flows(pipes: &[&RingPipe<'_>], draws: &[f64], water: &Water) -> Vec<f64> {
    let nodes = draws.len();
    // Start: one foot per second in each pipe, as EPANET does.
    let start = |pipe: &RingPipe<'_>| {
        let d = pipe.pipe.inside.bounds().middle();
        0.3048 * core::f64::consts::PI * d * d / 4.0
    };
    let mut flow: Vec<f64> = pipes.iter().map(|pipe| start(pipe)).collect();
    for _ in 0..MOST_ROUNDS {
        // Row of node n at n - 1; node 0 is fixed at zero and falls out.
        let mut matrix = vec![vec![0.0; nodes - 1]; nodes - 1];
        let mut right: Vec<f64> = draws[1..].iter().map(|d| -d).collect();
        let mut laws = Vec::with_capacity(pipes.len());
        for (pipe, &q) in pipes.iter().zip(&flow) {
            let (loss, slope) = loss_and_slope(pipe.pipe, q, water);
            let (conductance, shift) = (1.0 / slope, loss / slope);
            laws.push((conductance, shift));
            for (end, sign) in [(pipe.from, -1.0), (pipe.to, 1.0)] {
                if end > 0 {
                    matrix[end - 1][end - 1] += conductance;
                    right[end - 1] += sign * (q - shift);
                }
            }
            if pipe.from > 0 && pipe.to > 0 {
                matrix[pipe.from - 1][pipe.to - 1] -= conductance;
                matrix[pipe.to - 1][pipe.from - 1] -= conductance;
            }
        }
        let Some(heads) = solve_symmetric(matrix, right) else { return flow };
        let head = |node: usize| if node == 0 { 0.0 } else { heads[node - 1] };
        let (mut changed, mut largest) = (0.0f64, 0.0f64);
        for ((pipe, q), (conductance, shift)) in pipes.iter().zip(&mut flow).zip(laws) {
            let next = *q - shift + conductance * (head(pipe.from) - head(pipe.to));
            changed = changed.max((next - *q).abs());
            largest = largest.max(next.abs());
            *q = next;
        }
        if changed <= 1e-15 * largest {
            break;
        }
    }
    flow
}

/// Signed loss and its slope at a flow.
fn loss_and_slope(pipe: &Pipe, q: f64, water: &Water) -> (f64, f64) {
    // A pipe without flow has no slope by most laws; a drop a day stands in.
    let size = q.abs().max(1e-14);
    let step = size * 1e-6;
    let slope = (pipe.nominal(size + step, water) - pipe.nominal(size - step, water)) / (2.0 * step);
    let loss = pipe.nominal(q.abs(), water);
    (if q < 0.0 { -loss } else { loss }, slope.max(1e-6))
}

/// Cholesky; the matrix is symmetric and, for joined pipes with a slope each, positive definite.
fn solve_symmetric(mut a: Vec<Vec<f64>>, mut b: Vec<f64>) -> Option<Vec<f64>> {
    let n = b.len();
    for j in 0..n {
        for i in j..n {
            let sum: f64 = a[i][j] - (0..j).map(|k| a[i][k] * a[j][k]).sum::<f64>();
            if i == j {
                if !(sum.is_finite() && sum > 0.0) {
                    return None;
                }
                a[j][j] = sum.sqrt();
            } else {
                a[i][j] = sum / a[j][j];
            }
        }
    }
    for i in 0..n {
        let sum: f64 = (0..i).map(|k| a[i][k] * b[k]).sum();
        b[i] = (b[i] - sum) / a[i][i];
    }
    for i in (0..n).rev() {
        let sum: f64 = (i + 1..n).map(|k| a[k][i] * b[k]).sum();
        b[i] = (b[i] - sum) / a[i][i];
    }
    Some(b)
}
