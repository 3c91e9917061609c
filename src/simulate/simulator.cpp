#include "kurbel/simulate/simulator.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "kurbel/simulate/misfire.hpp"
#include "kurbel/simulate/speed_control.hpp"
#include "kurbel/simulate/wheel.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kRadPerDeg = portable::kPi / 180.0;
constexpr double kRadPerRpm = portable::kPi / 30.0;
constexpr double kControlStep = 1e-3;
constexpr std::uint64_t kEngineStream = 10;
constexpr std::uint64_t kChannelStream = 11;
constexpr std::uint64_t kCylinderStream = 100;

/// Effective choked outflow speed past a leak: 0.685 sqrt(R T) at 600 K (Heywood 1988, app. C, eq. for choked flow; memory).
constexpr double kLeakSpeed = 284.0;

/// Rounded to 1 / `per_unit`, so that files stay short.
double rounded(double value, double per_unit) noexcept { return std::floor(value * per_unit + 0.5) / per_unit; }

/// Where a cylinder stands in its cycle: which of its dead centres comes next.
enum class Next : std::uint8_t { trap, firing_tdc, bottom, gas_exchange_tdc };

struct CylinderRun {
    Next next = Next::trap;
    Random random;
    double factor = 1.0;
    double leak_rad_s = 0.0;
    read::TruthRow row{};
};

class Run {
  public:
    Run(const Scenario& scenario, const StepWatch& watch)
        : scenario_(scenario),
          watch_(watch),
          model_(scenario),
          control_(scenario, model_),
          sensor_(scenario),
          misfires_(scenario.misfires, scenario.seed),
          scatter_(scenario.combustion.scatter_skewness),
          channel_noise_(scenario.seed, kChannelStream) {
        const double highest = std::max(scenario.operation.speed_rpm.highest(), 600.0) * kRadPerRpm;
        double longest = model_.longest_step_s(1.1 * highest);
        if (scenario.step_s > 0.0) longest = std::min(longest, scenario.step_s);
        steps_per_control_ = static_cast<int>(std::ceil(kControlStep / longest));
        step_s_ = kControlStep / steps_per_control_;
        make_cylinders();
        recording_.config.engine = scenario.engine;
        recording_.config.crank_wheel = scenario.crank_wheel;
        recording_.config.cam_wheel = scenario.cam_wheel;
        if (scenario.has_timer) recording_.config.timer = scenario.timer;
        recording_.has_truth = true;
    }

    read::Recording run(const std::function<void(double)>& progress) {
        start();
        const auto settle = static_cast<long long>(std::llround(scenario_.settle_s / kControlStep));
        const auto end = static_cast<long long>(std::llround(scenario_.seconds / kControlStep));
        for (long long i = -settle; i < end; ++i) {
            if (i == 0) begin_recording();
            control_step(static_cast<double>(i) * kControlStep, i >= 0);
            if (progress && i % 1000 == 999) progress(static_cast<double>(i) / static_cast<double>(end));
        }
        finish_firings(static_cast<double>(end) * kControlStep);
        return assemble();
    }

  private:
    void make_cylinders();
    void start();
    void begin_recording();
    void control_step(double time_s, bool record);
    void engine_step(double time_s, bool record);
    void watch_cylinder(std::size_t c, double time_s, double before_rad, double before_rad_s);
    void trap(std::size_t c, double time_s);
    void finish_firings(double end_s);
    void write_channels(double time_s);
    read::Recording assemble();
    [[nodiscard]] bool fuel_is_cut(int cylinder, double time_s) const noexcept;
    [[nodiscard]] std::size_t sensor_mass() const noexcept {
        const bool rear = scenario_.crank_wheel.at == SensorAt::flywheel;
        return rear ? static_cast<std::size_t>(model_.layout().flywheel) : 0;
    }

    const Scenario& scenario_;
    const StepWatch& watch_;
    EngineModel model_;
    SpeedControl control_;
    WheelSensor sensor_;
    MisfirePlan misfires_;
    LowSideScatter scatter_;
    Random channel_noise_;
    std::array<CylinderRun, kMaxCylinders> cylinder_{};
    int steps_per_control_ = 20;
    double step_s_ = 5e-5;
    std::vector<SimulatedEdge> edges_;
    struct Sample {
        double time_s;
        Channel channel;
        double value;
    };
    std::vector<Sample> samples_;
    double next_sample_s_ = 0.0;
    read::Recording recording_;
};

void Run::make_cylinders() {
    Random spread(machine_seed(scenario_), kEngineStream);
    const CombustionSettings& combustion = scenario_.combustion;
    const double clearance = model_.cylinder().geometry().clearance_m3;
    for (std::size_t c = 0; c < static_cast<std::size_t>(scenario_.engine.cylinders); ++c) {
        CylinderRun& run = cylinder_[c];
        run.random = Random(scenario_.seed, kCylinderStream + c);
        run.factor = 1.0 + combustion.spread * spread.normal();
        if (c < combustion.cylinder_factor.size()) run.factor = combustion.cylinder_factor[c];
        if (c < combustion.leak_mm2.size()) run.leak_rad_s = 1e-6 * combustion.leak_mm2[c] * kLeakSpeed / clearance;
    }
}

bool Run::fuel_is_cut(int cylinder, double time_s) const noexcept {
    return std::any_of(scenario_.fuel_cuts.begin(), scenario_.fuel_cuts.end(), [&](const FuelCut& cut) {
        return (cut.cylinder == 0 || cut.cylinder == cylinder) && time_s >= cut.from_s && time_s < cut.to_s;
    });
}

void Run::start() {
    Random random(scenario_.seed, kEngineStream + 5);
    const double drawn = random.uniform() * model_.cylinder().cycle_rad();
    const double start_s = -scenario_.settle_s;
    const bool cranking = scenario_.operation.mode == Operation::cranking;
    const double speed = cranking ? 0.0 : scenario_.operation.speed_rpm.at(start_s) * kRadPerRpm;
    model_.start(scenario_.start_deg >= 0.0 ? scenario_.start_deg * kRadPerDeg : drawn, speed);
    control_.settle(start_s);
    model_.preload_driveline(control_.steady_torque_nm(start_s));
    model_.manifold_pa = manifold_pa(scenario_.combustion, control_.load());
    const double half = portable::kPi;
    for (std::size_t c = 0; c < static_cast<std::size_t>(model_.cylinders()); ++c) {
        const double x = model_.cylinder_rad(c);
        trap(c, start_s);  // a cylinder may stand between its bottoms when the run begins
        if (cranking) model_.charge[c].trapped_pa *= 0.5;  // gas has leaked past the rings since the engine stopped
        cylinder_[c].row.time_s = -1e9;
        cylinder_[c].next = x < -half  ? Next::trap
                            : x < 0.0  ? Next::firing_tdc
                            : x < half ? Next::bottom
                                       : Next::gas_exchange_tdc;
    }
}

void Run::begin_recording() { sensor_.start(model_.angle_rad[sensor_mass()]); }

void Run::control_step(double time_s, bool record) {
    if (record && time_s >= next_sample_s_ - 1e-9) {
        write_channels(time_s);
        next_sample_s_ += scenario_.channels.every_s;
    }
    model_.manifold_pa = manifold_pa(scenario_.combustion, control_.load());
    model_.load_nm = control_.load_nm();
    model_.starter_engaged = scenario_.operation.mode == Operation::cranking && time_s >= scenario_.starter.from_s &&
                             time_s < scenario_.starter.to_s;
    for (int i = 0; i < steps_per_control_; ++i) engine_step(time_s + i * step_s_, record);
    const double speed = model_.speed_rad_s[static_cast<std::size_t>(model_.layout().flywheel)];
    control_.update(time_s + kControlStep, kControlStep, speed, fuel_is_cut(0, time_s));
    const double lowered = model_.rebase();
    if (lowered > 0.0) sensor_.rebase(lowered);
}

void Run::engine_step(double time_s, bool record) {
    const std::size_t mass = sensor_mass();
    SensorStep sensor{time_s, step_s_, model_.angle_rad[mass], model_.speed_rad_s[mass], 0.0, 0.0};
    CylinderArray before{};
    CylinderArray before_speed{};
    const auto count = static_cast<std::size_t>(model_.cylinders());
    for (std::size_t c = 0; c < count; ++c) {
        before[c] = model_.cylinder_rad(c);
        before_speed[c] = model_.speed_rad_s[static_cast<std::size_t>(model_.layout().mass_of_cylinder[c])];
    }
    model_.step(step_s_);
    if (record) {
        sensor.next_angle_rad = model_.angle_rad[mass];
        sensor.next_speed_rad_s = model_.speed_rad_s[mass];
        sensor_.step(sensor, edges_);
        if (watch_) watch_(model_, time_s + step_s_);
    }
    for (std::size_t c = 0; c < count; ++c) watch_cylinder(c, time_s, before[c], before_speed[c]);
}

void Run::watch_cylinder(std::size_t c, double time_s, double before_rad, double before_rad_s) {
    CylinderRun& run = cylinder_[c];
    const double x = model_.cylinder_rad(c);
    const double half = portable::kPi;
    const bool two_stroke = model_.cylinder().cycle_rad() < 3.0 * half;
    if (run.next == Next::trap && x >= -half) {
        trap(c, time_s + step_s_);
        run.next = Next::firing_tdc;
    } else if (run.next == Next::firing_tdc && x >= 0.0) {
        // Cubic through both ends would be finer than truth needs; the straight line with the mean speed is within 1 ns.
        const double speed = model_.speed_rad_s[static_cast<std::size_t>(model_.layout().mass_of_cylinder[c])];
        const double share = before_rad / (before_rad - x);
        const double bend = 0.5 * share * (1.0 - share) * (speed - before_rad_s) * step_s_ / (x - before_rad);
        run.row.time_s = time_s + (share + bend) * step_s_;
        const double pressure = model_.cylinder().pressure_pa(0.0, speed, model_.manifold_pa, model_.charge[c]);
        run.row.tdc_bar = rounded(1e-5 * (pressure - model_.cylinder().ambient_pa()), 1e3);
        run.next = Next::bottom;
    } else if (run.next == Next::bottom && x >= half) {
        run.row.work_j = rounded(model_.work_j[c], 1e2);
        if (run.row.time_s >= 0.0 && run.row.time_s < scenario_.seconds) recording_.truth.push_back(run.row);
        run.row.time_s = -1e9;
        run.next = Next::gas_exchange_tdc;
        if (two_stroke) {
            model_.firing_tdc_rad[c] += model_.cylinder().cycle_rad();
            trap(c, time_s + step_s_);
            run.next = Next::firing_tdc;
        }
    } else if (run.next == Next::gas_exchange_tdc && x >= 2.0 * half) {
        model_.firing_tdc_rad[c] += model_.cylinder().cycle_rad();
        run.next = Next::trap;
    }
}

void Run::trap(std::size_t c, double time_s) {
    CylinderRun& run = cylinder_[c];
    const CombustionSettings& combustion = scenario_.combustion;
    const int number = static_cast<int>(c) + 1;
    const double load = control_.load();
    const double speed = model_.speed_rad_s[static_cast<std::size_t>(model_.layout().mass_of_cylinder[c])];
    const double deviation = scatter_at(combustion, load) * scatter_(run.random.normal());
    const double phase_deg = combustion.ca50_scatter_deg * run.random.normal();
    const double severity = misfires_.next(number, time_s, load, speed / kRadPerRpm);
    const bool cut = fuel_is_cut(number, time_s);

    Charge& charge = model_.charge[c];
    charge.trapped_pa = model_.manifold_pa;
    charge.leak_rad_s = run.leak_rad_s;
    charge.closing_rad_s = std::max(speed, 1.0);
    const double nominal = model_.cylinder().nominal_heat_j(charge.trapped_pa, load);
    charge.heat_j = cut ? 0.0 : nominal * run.factor * std::max(0.0, 1.0 + deviation) * (1.0 - severity);
    if (charge.heat_j > 0.0) {
        // A weak burn is also a slow and late one.
        const double slowness = std::clamp(1.0 - 0.8 * deviation, 0.7, 1.6);
        const double duration = burn_duration_rad(combustion, load) * slowness;
        const double late = 0.25 * (slowness - 1.0) * burn_duration_rad(combustion, load);
        const double ca50 = (combustion.ca50_deg + phase_deg) * kRadPerDeg + late;
        model_.cylinder().prepare_burn(ca50, duration, charge.burn);
    }
    model_.work_j[c] = 0.0;
    run.row = {};
    run.row.time_s = -1e9;
    run.row.cylinder = number;
    run.row.severity = cut ? 0.0 : severity;
    run.row.fuel_cut = cut;
}

void Run::finish_firings(double end_s) {
    const auto waiting = [&] {
        for (std::size_t c = 0; c < static_cast<std::size_t>(model_.cylinders()); ++c)
            if (cylinder_[c].next == Next::bottom && cylinder_[c].row.time_s >= 0.0 && cylinder_[c].row.time_s < end_s)
                return true;
        return false;
    };
    for (int i = 0; i < 2000 && waiting(); ++i) control_step(end_s + i * kControlStep, false);
}

void Run::write_channels(double time_s) {
    const ChannelSettings& channels = scenario_.channels;
    if (!channels.write) return;
    const double load = channels.load_gain * control_.load() + channels.load_noise * channel_noise_.normal();
    const auto add = [&](Channel channel, double value, double per_unit) {
        samples_.push_back({time_s, channel, rounded(value, per_unit)});
    };
    add(Channel::load, std::max(0.0, load), 1e4);
    add(Channel::fuel_cut, fuel_is_cut(0, time_s) ? 1.0 : 0.0, 1.0);
    for (int n = 1; n <= model_.cylinders(); ++n) {
        const bool named = std::any_of(scenario_.fuel_cuts.begin(), scenario_.fuel_cuts.end(),
                                       [n](const FuelCut& cut) { return cut.cylinder == n; });
        if (named) add(fuel_cut_channel(n), fuel_is_cut(n, time_s) ? 1.0 : 0.0, 1.0);
    }
    add(Channel::coolant_c, channels.coolant_c.at(time_s), 10.0);
    if (model_.layout().in_gear()) {
        const double wheel =
            model_.speed_rad_s[static_cast<std::size_t>(model_.layout().vehicle)] / scenario_.driveline.ratio;
        add(Channel::vehicle_kmh, 3.6 * wheel * scenario_.driveline.wheel_radius_m, 10.0);
    }
}

read::Recording Run::assemble() {
    const TimerConfig& timer = recording_.config.timer;
    CapturedEdges captured = capture(edges_, timer);
    recording_.tick = std::move(captured.tick);
    recording_.signal = std::move(captured.signal);
    for (read::TruthRow& row : recording_.truth) row.time_s -= captured.clock_shift_s;
    for (const Sample& sample : samples_)
        recording_.channels.push_back(
            {static_cast<std::int64_t>(std::ceil((sample.time_s - captured.clock_shift_s) * timer.hz - 1e-6)),
             sample.channel, sample.value});
    return std::move(recording_);
}

}  // namespace

read::Recording simulate(const Scenario& scenario, const std::function<void(double)>& progress,
                         const StepWatch& watch) {
    if (const Status status = validate(scenario); !status)
        throw std::invalid_argument(std::string(status.parameter) + " " + status.why);
    return Run(scenario, watch).run(progress);
}

}  // namespace kurbel::simulate
