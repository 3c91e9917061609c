// Elementary functions from +, -, *, / and sqrt alone, so that a seed gives the same bytes on every IEEE machine.
// The C library's sin, exp and log differ in the last bit between versions and processors.
#pragma once

#include <cmath>
#include <cstdint>

namespace kurbel::simulate::portable {

inline constexpr double kPi = 3.141592653589793238462643383279502884;

/// e^x; relative error below 4e-16 for |x| < 700.
[[nodiscard]] inline double exp(double x) noexcept {
    if (x < -708.0) return 0.0;
    if (x > 709.0) x = 709.0;
    const double k = std::floor(x * 1.4426950408889634074 + 0.5);
    const double r = (x - k * 6.93147180369123816490e-01) - k * 1.90821492927058770002e-10;
    double sum = 1.0;
    for (int n = 13; n >= 1; --n) sum = 1.0 + sum * r / n;
    return std::ldexp(sum, static_cast<int>(k));
}

/// Natural logarithm; x > 0.
[[nodiscard]] inline double log(double x) noexcept {
    int exponent = 0;
    double m = std::frexp(x, &exponent);
    if (m < 0.70710678118654752440) {
        m *= 2.0;
        --exponent;
    }
    const double s = (m - 1.0) / (m + 1.0);
    const double s2 = s * s;
    double sum = 0.0;
    for (int n = 23; n >= 1; n -= 2) sum = sum * s2 + 1.0 / n;
    return 2.0 * s * sum + exponent * 0.693147180559945309417;
}

/// base^power; base > 0.
[[nodiscard]] inline double pow(double base, double power) noexcept { return exp(power * log(base)); }

/// Hyperbolic tangent.
[[nodiscard]] inline double tanh(double x) noexcept {
    if (x > 20.0) return 1.0;
    if (x < -20.0) return -1.0;
    const double e = exp(2.0 * x);
    return (e - 1.0) / (e + 1.0);
}

/// Arc tangent, rad; absolute error below 5e-16. The angle is halved three times, then a series of 13 terms.
[[nodiscard]] inline double atan(double x) noexcept {
    if (x > 1e8) return 0.5 * kPi - 1.0 / x;
    if (x < -1e8) return -0.5 * kPi - 1.0 / x;
    for (int i = 0; i < 3; ++i) x /= 1.0 + std::sqrt(1.0 + x * x);
    const double x2 = x * x;
    double sum = 0.0;
    for (int n = 25; n >= 1; n -= 2) sum = 1.0 / n - sum * x2;
    return 8.0 * x * sum;
}

struct SinCos {
    double sine;
    double cosine;
};

/// Sine and cosine together; absolute error below 3e-16 for |x| < 1e5 rad.
[[nodiscard]] inline SinCos sincos(double x) noexcept {
    const double k = std::floor(x * 0.63661977236758134308 + 0.5);
    const double r =
        ((x - k * 1.57079632673412561417e+00) - k * 6.07710050630396597660e-11) - k * 2.02226624879595063154e-21;
    const double r2 = r * r;
    double s = 1.0;
    double c = 1.0;
    for (int n = 16; n >= 2; n -= 2) {
        s = 1.0 - s * r2 / (n * (n + 1));
        c = 1.0 - c * r2 / (n * (n - 1));
    }
    s *= r;
    switch (static_cast<std::int64_t>(k) & 3) {
        case 0: return {s, c};
        case 1: return {c, -s};
        case 2: return {-s, -c};
        default: return {-c, s};
    }
}

[[nodiscard]] inline double sin(double x) noexcept { return sincos(x).sine; }
[[nodiscard]] inline double cos(double x) noexcept { return sincos(x).cosine; }

}  // namespace kurbel::simulate::portable
