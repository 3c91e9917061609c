// The elastic crank against closed forms and against the same chain as a full matrix.
#include "kurbel/stage/crank_chain.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <array>
#include <cmath>
#include <complex>

#include "support/even_engine.hpp"

namespace kurbel {
namespace {

using Phasor = std::complex<double>;
using Angles = std::array<Phasor, kMaxCylinders>;

TEST(CrankChain, TurnsAsOneUnderSlowTorque) {
    CrankChain chain;
    chain.configure(test::even_engine(6), 0.01);
    CrankChain::Parts parts;
    parts.ring = 0.04;
    parts.gearbox = 0.1;
    chain.set(parts);
    for (const bool front : {false, true}) {
        Angles angle;
        chain.turn(1.0, front, angle, 6);
        // What hangs on it turns with it.
        for (int k = 0; k < 6; ++k) EXPECT_NEAR(angle[static_cast<std::size_t>(k)].real(), -1.0 / 1.14, 1e-4);
    }
}

TEST(CrankChain, AnswersAsTheFullMatrixDoes) {
    // Four throws; masses, springs and damping written down once more and solved densely.
    constexpr double kReciprocating = 0.004;
    EngineConfig engine = test::even_engine(4);
    engine.throw_number = {1, 2, 3, 4};
    CrankChain chain;
    chain.configure(engine, kReciprocating);
    CrankChain::Parts parts;
    parts.mode_rad_s = 2000.0;
    parts.damping = 0.03;
    parts.pulley = 0.1;
    parts.throws = 0.24;
    parts.ring = 0.03;
    parts.ring_tune = 0.9;
    parts.gearbox = 0.12;
    chain.set(parts);
    const double rotating = 1.0 - 4.0 * kReciprocating;
    Eigen::Matrix<double, 6, 1> mass;
    mass << 0.1 * rotating, 0.06 * rotating + kReciprocating, 0.06 * rotating + kReciprocating,
        0.06 * rotating + kReciprocating, 0.06 * rotating + kReciprocating, 0.66 * rotating;
    Eigen::Matrix<double, 6, 6> spring = Eigen::Matrix<double, 6, 6>::Zero();
    for (int i = 0; i < 5; ++i) {
        spring(i, i) += 1.0;
        spring(i + 1, i + 1) += 1.0;
        spring(i, i + 1) -= 1.0;
        spring(i + 1, i) -= 1.0;
    }
    const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> modes(spring, Eigen::MatrixXd(mass.asDiagonal()));
    spring *= 2000.0 * 2000.0 / modes.eigenvalues()[1];
    for (const double w : {150.0, 900.0, 1700.0, 2100.0, 4000.0}) {
        const Phasor loss(1.0, 2.0 * 0.03 * w / 2000.0);
        Eigen::Matrix<Phasor, 8, 8> stiff = Eigen::Matrix<Phasor, 8, 8>::Zero();
        stiff.topLeftCorner<6, 6>() = spring * loss - Eigen::MatrixXcd((w * w * mass).asDiagonal());
        const auto hang = [&](int on, int at, double inertia, double natural, double damping) {
            const Phasor own = inertia * natural * natural * Phasor(1.0, 2.0 * damping * w / natural);
            stiff(on, on) += own;
            stiff(on, at) -= own;
            stiff(at, on) -= own;
            stiff(at, at) = own - w * w * inertia;
        };
        hang(0, 6, 0.03, 0.9 * 2000.0, parts.ring_damping);
        hang(5, 7, 0.12, parts.clutch_rad_s, parts.clutch_damping);
        const Eigen::Matrix<Phasor, 8, 8> answer = stiff.inverse();
        for (const bool front : {false, true}) {
            Angles angle;
            chain.turn(w, front, angle, 4);
            for (int k = 0; k < 4; ++k) {
                const Phasor expected = answer(front ? 0 : 5, k + 1);
                EXPECT_LT(std::abs(angle[static_cast<std::size_t>(k)] - expected), 1e-6 * std::abs(expected)) << w;
            }
        }
    }
}

TEST(CrankChain, StandsStillWhereItsDamperIsInTune) {
    // An undamped absorber holds its point still at its own frequency (Den Hartog, Mechanical Vibrations, sec. 3.2; from memory).
    CrankChain chain;
    chain.configure(test::even_engine(4), 0.0);
    CrankChain::Parts parts;
    parts.ring = 0.05;
    parts.ring_damping = 1e-5;
    chain.set(parts);
    Angles at_ring;
    Angles beside;
    chain.turn(parts.mode_rad_s, true, at_ring, 4);
    chain.turn(0.8 * parts.mode_rad_s, true, beside, 4);
    EXPECT_LT(std::abs(at_ring[0]), 1e-3 * std::abs(beside[0]));
}

TEST(CrankChain, SharesThrowsBetweenCylinders) {
    EngineConfig engine = test::even_engine(4);
    engine.throw_number = {1, 1, 2, 2};
    CrankChain chain;
    chain.configure(engine, 0.0);
    chain.set({});
    Angles angle;
    chain.turn(1500.0, true, angle, 4);
    EXPECT_EQ(angle[0], angle[1]);
    EXPECT_EQ(angle[2], angle[3]);
    EXPECT_GT(std::abs(angle[0] - angle[2]), 0.01 * std::abs(angle[0]));
}

}  // namespace
}  // namespace kurbel
