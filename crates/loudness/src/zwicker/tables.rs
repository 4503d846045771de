//! Tables of ISO 532-1:2017, annex A. Values as quoted in the source of MoSQITo (Apache-2.0), which were not seen in the standard itself;
//! the numbers of the tables are from memory.

/// Centre frequencies of the third-octave bands in hertz.
pub const BANDS: [f64; 28] = [
    25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0,
    1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10000.0, 12500.0,
];

/// One third-octave filter at 48 kHz: three sections of second order, each told by how its two feedback coefficients differ from
/// -2 and 1 (tables A.1 and A.2), and a gain.
#[derive(Debug, Clone, Copy)]
pub(super) struct BandFilter {
    pub differences: [[f64; 2]; 3],
    pub gain: f64,
}

/// Feed-forward coefficients of the three sections (table A.1).
pub(super) const FORWARD: [[f64; 3]; 3] = [[1.0, 2.0, 1.0], [1.0, 0.0, -1.0], [1.0, -2.0, 1.0]];

#[rustfmt::skip]
pub(super) const FILTERS: [BandFilter; 28] = [
    BandFilter { differences: [[-6.70260e-4, 6.59453e-4], [-3.75071e-4, 3.61926e-4], [-3.06523e-4, 2.97634e-4]], gain: 4.30764e-11 }, // 25 Hz
    BandFilter { differences: [[-8.47258e-4, 8.30131e-4], [-4.76448e-4, 4.55616e-4], [-3.88773e-4, 3.74685e-4]], gain: 8.59340e-11 }, // 31.5 Hz
    BandFilter { differences: [[-1.07210e-3, 1.04496e-3], [-6.06567e-4, 5.73553e-4], [-4.94004e-4, 4.71677e-4]], gain: 1.71424e-10 }, // 40 Hz
    BandFilter { differences: [[-1.35836e-3, 1.31535e-3], [-7.74327e-4, 7.22007e-4], [-6.29154e-4, 5.93771e-4]], gain: 3.41944e-10 }, // 50 Hz
    BandFilter { differences: [[-1.72380e-3, 1.65564e-3], [-9.91780e-4, 9.08866e-4], [-8.03529e-4, 7.47455e-4]], gain: 6.82035e-10 }, // 63 Hz
    BandFilter { differences: [[-2.19188e-3, 2.08388e-3], [-1.27545e-3, 1.14406e-3], [-1.02976e-3, 9.40900e-4]], gain: 1.36026e-9 }, // 80 Hz
    BandFilter { differences: [[-2.79386e-3, 2.62274e-3], [-1.64828e-3, 1.44006e-3], [-1.32520e-3, 1.18438e-3]], gain: 2.71261e-9 }, // 100 Hz
    BandFilter { differences: [[-3.57182e-3, 3.30071e-3], [-2.14252e-3, 1.81258e-3], [-1.71397e-3, 1.49082e-3]], gain: 5.40870e-9 }, // 125 Hz
    BandFilter { differences: [[-4.58305e-3, 4.15355e-3], [-2.80413e-3, 2.28135e-3], [-2.23006e-3, 1.87646e-3]], gain: 1.07826e-8 }, // 160 Hz
    BandFilter { differences: [[-5.90655e-3, 5.22622e-3], [-3.69947e-3, 2.87118e-3], [-2.92205e-3, 2.36178e-3]], gain: 2.14910e-8 }, // 200 Hz
    BandFilter { differences: [[-7.65243e-3, 6.57493e-3], [-4.92540e-3, 3.61318e-3], [-3.86007e-3, 2.97240e-3]], gain: 4.28228e-8 }, // 250 Hz
    BandFilter { differences: [[-1.00023e-2, 8.29610e-3], [-6.63788e-3, 4.55999e-3], [-5.15982e-3, 3.75306e-3]], gain: 8.54316e-8 }, // 315 Hz
    BandFilter { differences: [[-1.31230e-2, 1.04220e-2], [-9.02274e-3, 5.73132e-3], [-6.94543e-3, 4.71734e-3]], gain: 1.70009e-7 }, // 400 Hz
    BandFilter { differences: [[-1.73693e-2, 1.30947e-2], [-1.24176e-2, 7.20526e-3], [-9.46002e-3, 5.93145e-3]], gain: 3.38215e-7 }, // 500 Hz
    BandFilter { differences: [[-2.31934e-2, 1.64308e-2], [-1.73009e-2, 9.04761e-3], [-1.30358e-2, 7.44926e-3]], gain: 6.71990e-7 }, // 630 Hz
    BandFilter { differences: [[-3.13292e-2, 2.06370e-2], [-2.44342e-2, 1.13731e-2], [-1.82108e-2, 9.36778e-3]], gain: 1.33531e-6 }, // 800 Hz
    BandFilter { differences: [[-4.28261e-2, 2.59325e-2], [-3.49619e-2, 1.43046e-2], [-2.57855e-2, 1.17912e-2]], gain: 2.65172e-6 }, // 1000 Hz
    BandFilter { differences: [[-5.91733e-2, 3.25054e-2], [-5.06072e-2, 1.79513e-2], [-3.69401e-2, 1.48094e-2]], gain: 5.25477e-6 }, // 1250 Hz
    BandFilter { differences: [[-8.26348e-2, 4.05894e-2], [-7.40348e-2, 2.24476e-2], [-5.34977e-2, 1.85371e-2]], gain: 1.03780e-5 }, // 1600 Hz
    BandFilter { differences: [[-1.17018e-1, 5.08116e-2], [-1.09516e-1, 2.81387e-2], [-7.85097e-2, 2.32872e-2]], gain: 2.04870e-5 }, // 2000 Hz
    BandFilter { differences: [[-1.67714e-1, 6.37872e-2], [-1.63378e-1, 3.53729e-2], [-1.16419e-1, 2.93723e-2]], gain: 4.05198e-5 }, // 2500 Hz
    BandFilter { differences: [[-2.42528e-1, 7.98576e-2], [-2.45161e-1, 4.43370e-2], [-1.73972e-1, 3.70015e-2]], gain: 7.97914e-5 }, // 3150 Hz
    BandFilter { differences: [[-3.53142e-1, 9.96330e-2], [-3.69163e-1, 5.53535e-2], [-2.61399e-1, 4.65428e-2]], gain: 1.56511e-4 }, // 4000 Hz
    BandFilter { differences: [[-5.16316e-1, 1.24177e-1], [-5.55473e-1, 6.89403e-2], [-3.93998e-1, 5.86715e-2]], gain: 3.04954e-4 }, // 5000 Hz
    BandFilter { differences: [[-7.56635e-1, 1.55023e-1], [-8.34281e-1, 8.58123e-2], [-5.94547e-1, 7.43960e-2]], gain: 5.99157e-4 }, // 6300 Hz
    BandFilter { differences: [[-1.10165, 1.91713e-1], [-1.23939, 1.05243e-1], [-8.91666e-1, 9.40354e-2]], gain: 1.16544e-3 }, // 8000 Hz
    BandFilter { differences: [[-1.58477, 2.39049e-1], [-1.80505, 1.28794e-1], [-1.32500, 1.21333e-1]], gain: 2.27488e-3 }, // 10000 Hz
    BandFilter { differences: [[-2.50630, 1.42308e-1], [-2.19464, 2.76470e-1], [-1.90231, 1.47304e-1]], gain: 3.91006e-3 }, // 12500 Hz
];

/// Levels in dB up to which each row of [`LOW_WEIGHTS`] holds (table A.3).
pub(super) const LOW_RANGES: [f64; 8] = [45.0, 55.0, 65.0, 71.0, 80.0, 90.0, 100.0, 120.0];

/// What is added to the levels in dB of the eleven bands from 25 to 250 Hz (table A.3).
pub(super) const LOW_WEIGHTS: [[f64; 11]; 8] = [
    [-32.0, -24.0, -16.0, -10.0, -5.0, 0.0, -7.0, -3.0, 0.0, -2.0, 0.0],
    [-29.0, -22.0, -15.0, -10.0, -4.0, 0.0, -7.0, -2.0, 0.0, -2.0, 0.0],
    [-27.0, -19.0, -14.0, -9.0, -4.0, 0.0, -6.0, -2.0, 0.0, -2.0, 0.0],
    [-25.0, -17.0, -12.0, -9.0, -3.0, 0.0, -5.0, -2.0, 0.0, -2.0, 0.0],
    [-23.0, -16.0, -11.0, -7.0, -3.0, 0.0, -4.0, -1.0, 0.0, -1.0, 0.0],
    [-20.0, -14.0, -10.0, -6.0, -3.0, 0.0, -4.0, -1.0, 0.0, -1.0, 0.0],
    [-18.0, -12.0, -9.0, -6.0, -2.0, 0.0, -3.0, -1.0, 0.0, -1.0, 0.0],
    [-15.0, -10.0, -8.0, -4.0, -2.0, 0.0, -3.0, -1.0, 0.0, -1.0, 0.0],
];

/// Level in dB of each critical band at the threshold in quiet, without the transmission of the ear (table A.6).
pub(super) const THRESHOLD: [f64; 20] =
    [30.0, 18.0, 12.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 3.0];

/// Transmission of the ear in dB (table A.4).
pub(super) const TRANSMISSION: [f64; 20] =
    [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -0.5, -1.6, -3.2, -5.4, -5.6, -4.0, -1.5, 2.0, 5.0, 12.0];

/// Difference of diffuse and free field in dB (table A.5).
pub(super) const DIFFUSE: [f64; 20] =
    [0.0, 0.0, 0.5, 0.9, 1.2, 1.6, 2.3, 2.8, 3.0, 2.0, 0.0, -1.4, -2.0, -1.9, -1.0, 0.5, 3.0, 4.0, 4.3, 4.0];

/// From third-octave to critical-band levels in dB (table A.7).
pub(super) const CRITICAL: [f64; 20] =
    [-0.25, -0.6, -0.8, -0.8, -0.5, 0.0, 0.5, 1.1, 1.5, 1.7, 1.8, 1.8, 1.7, 1.6, 1.4, 1.2, 0.8, 0.5, 0.0, -0.5];

/// Upper limits of the approximated critical bands in Bark (table A.8).
pub(super) const UPPER: [f64; 21] =
    [0.9, 1.8, 2.8, 3.5, 4.4, 5.4, 6.6, 7.9, 9.2, 10.6, 12.3, 13.8, 15.2, 16.7, 18.1, 19.3, 20.6, 21.8, 22.7, 23.6, 24.0];

/// Specific loudness in sone per Bark down to which each row of [`STEEPNESS`] holds (table A.9).
pub(super) const RANGES: [f64; 18] =
    [21.5, 18.0, 15.1, 11.5, 9.0, 6.1, 4.4, 3.1, 2.13, 1.36, 0.82, 0.42, 0.30, 0.22, 0.15, 0.10, 0.035, 0.0];

/// Fall of specific loudness per Bark towards higher bands, by range and critical band (table A.9).
pub(super) const STEEPNESS: [[f64; 8]; 18] = [
    [13.0, 8.2, 6.3, 5.5, 5.5, 5.5, 5.5, 5.5],
    [9.0, 7.5, 6.0, 5.1, 4.5, 4.5, 4.5, 4.5],
    [7.8, 6.7, 5.6, 4.9, 4.4, 3.9, 3.9, 3.9],
    [6.2, 5.4, 4.6, 4.0, 3.5, 3.2, 3.2, 3.2],
    [4.5, 3.8, 3.6, 3.2, 2.9, 2.7, 2.7, 2.7],
    [3.7, 3.0, 2.8, 2.35, 2.2, 2.2, 2.2, 2.2],
    [2.9, 2.3, 2.1, 1.9, 1.8, 1.7, 1.7, 1.7],
    [2.4, 1.7, 1.5, 1.35, 1.3, 1.3, 1.3, 1.3],
    [1.95, 1.45, 1.3, 1.15, 1.1, 1.1, 1.1, 1.1],
    [1.5, 1.2, 0.94, 0.86, 0.82, 0.82, 0.82, 0.82],
    [0.72, 0.67, 0.64, 0.63, 0.62, 0.62, 0.62, 0.62],
    [0.59, 0.53, 0.51, 0.50, 0.42, 0.42, 0.42, 0.42],
    [0.40, 0.33, 0.26, 0.24, 0.24, 0.22, 0.22, 0.22],
    [0.27, 0.21, 0.20, 0.18, 0.17, 0.17, 0.17, 0.17],
    [0.16, 0.15, 0.14, 0.12, 0.11, 0.11, 0.11, 0.11],
    [0.12, 0.11, 0.10, 0.08, 0.08, 0.08, 0.08, 0.08],
    [0.09, 0.08, 0.07, 0.06, 0.06, 0.06, 0.06, 0.05],
    [0.06, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.02],
];
