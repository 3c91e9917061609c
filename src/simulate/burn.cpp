// The integral that turns heat into pressure, made once a firing.
#include <algorithm>

#include "kurbel/simulate/cylinder.hpp"
#include "simulate/hermite.hpp"

namespace kurbel::simulate {

namespace {

/// Share of the heat released `angle_rad` after the start.
double burnt_share(const BurnShape& shape, double angle_rad) noexcept {
    if (shape.premixed_share <= 0.0) return wiebe(angle_rad / shape.duration_rad);
    return shape.premixed_share * wiebe(angle_rad / shape.premixed_rad) +
           (1.0 - shape.premixed_share) * diffusion_burn(angle_rad / shape.duration_rad);
}

/// Its derivative, per radian.
double burn_rate(const BurnShape& shape, double angle_rad) noexcept {
    if (shape.premixed_share <= 0.0) return wiebe_slope(angle_rad / shape.duration_rad) / shape.duration_rad;
    return shape.premixed_share * wiebe_slope(angle_rad / shape.premixed_rad) / shape.premixed_rad +
           (1.0 - shape.premixed_share) * diffusion_burn_slope(angle_rad / shape.duration_rad) / shape.duration_rad;
}

}  // namespace

double BurnIntegral::at(double angle_rad) const noexcept {
    const double x = (angle_rad - start_rad_) / step_rad_;
    if (x <= 0.0) return 0.0;
    if (x >= intervals_) return value_[static_cast<std::size_t>(intervals_)];
    const auto i = static_cast<std::size_t>(x);
    return hermite(value_[i], slope_[i], value_[i + 1], slope_[i + 1], x - static_cast<double>(i));
}

void CylinderModel::prepare_burn(double ca50_rad, double duration_rad, BurnIntegral& burn) const noexcept {
    static_cast<void>(prepare_burn(BurnShape{ca50_rad - kWiebeHalf * duration_rad, duration_rad}, burn));
}

BurnShape CylinderModel::centred(double ca50_rad, BurnShape shape) noexcept {
    double low = 0.0;
    double high = kDiffusionEnd * shape.duration_rad;
    for (int i = 0; i < 40; ++i) {
        const double middle = 0.5 * (low + high);
        (burnt_share(shape, middle) < 0.5 ? low : high) = middle;
    }
    shape.start_rad = ca50_rad - 0.5 * (low + high);
    return shape;
}

double CylinderModel::prepare_burn(const BurnShape& shape, BurnIntegral& burn) const noexcept {
    // A burn that starts before the intake closes or still goes on when the exhaust opens is cut there.
    const double start = std::max(shape.start_rad, intake_closing_rad_);
    const double whole = start + (shape.premixed_share > 0.0 ? kDiffusionEnd : kWiebeEnd) * shape.duration_rad;
    const double end = std::min(whole, exhaust_opening_rad_);
    burn.start_rad_ = start;
    if (!(end > start)) {  // it would begin when all is over: nothing burns in the cylinder
        burn.step_rad_ = 1.0;
        burn.value_.fill(0.0);
        burn.slope_.fill(0.0);
        return 0.0;
    }
    burn.intervals_ = shape.premixed_share > 0.0 ? BurnIntegral::kMostIntervals : 64;
    burn.step_rad_ = (end - start) / burn.intervals_;
    const double vc = geometry_.clearance_m3;
    const auto rate = [&](double angle) {
        const Place at = place(angle);
        const Node& a = at.node[0];
        const Node& b = at.node[1];
        const double travel = hermite(a.travel, a.slope_step, b.travel, b.slope_step, at.fraction);
        const double inverse_w = hermite(a.inverse_w, a.inverse_w_step, b.inverse_w, b.inverse_w_step, at.fraction);
        const double volume = vc + geometry_.area_m2 * travel;
        return burn_rate(shape, angle - start) / (inverse_w * volume);
    };
    double before = rate(start);
    burn.value_[0] = 0.0;
    burn.slope_[0] = before * burn.step_rad_;
    for (std::size_t i = 1; i <= static_cast<std::size_t>(burn.intervals_); ++i) {
        const double angle = start + static_cast<double>(i) * burn.step_rad_;
        const double middle = rate(angle - 0.5 * burn.step_rad_);
        const double here = rate(angle);
        burn.value_[i] = burn.value_[i - 1] + burn.step_rad_ / 6.0 * (before + 4.0 * middle + here);
        burn.slope_[i] = here * burn.step_rad_;
        before = here;
    }
    return end < whole ? burnt_share(shape, end - start) : 1.0;
}

}  // namespace kurbel::simulate
