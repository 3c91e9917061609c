#include "kurbel/simulate/simulator.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <stdexcept>

#include "kurbel/simulate/air_path.hpp"
#include "kurbel/simulate/speed_control.hpp"
#include "kurbel/simulate/starting.hpp"
#include "simulate/recorder.hpp"
#include "simulate/streams.hpp"

namespace kurbel::simulate {

namespace {

constexpr double kRadPerDeg = portable::kPi / 180.0;
constexpr double kRadPerRpm = portable::kPi / 30.0;
constexpr double kControlStep = 1e-3;
constexpr double kRunUpRpm = 3000.0;  // an engine that starts may rev as high before it is governed

class Run {
  public:
    Run(const Scenario& scenario, const StepWatch& watch, DeepTruth* truth)
        : scenario_(scenario),
          watch_(watch),
          model_(scenario),
          control_(scenario, model_),
          air_(scenario, model_.cylinder()),
          starting_(scenario),
          sensor_(scenario),
          cylinders_(scenario, model_),
          recorder_(scenario, truth) {
        const bool starts = scenario.operation.mode == Operation::start;
        const double usual = starts ? kRunUpRpm : 600.0;
        const double highest = std::max(scenario.operation.speed_rpm.highest(), usual) * kRadPerRpm;
        double longest = model_.longest_step_s(1.1 * highest);
        if (scenario.step_s > 0.0) longest = std::min(longest, scenario.step_s);
        steps_per_control_ = static_cast<int>(std::ceil(kControlStep / longest));
        step_s_ = kControlStep / steps_per_control_;
        const CombustionSettings& combustion = scenario.combustion;
        if (!combustion.retard_deg.empty() || scenario.idle_spark.gain_deg_per_rpm > 0.0)
            efficiency_.emplace(scenario, model_.cylinder());
        conditions_vary_ = efficiency_.has_value() || scenario.friction.cold_exponent > 0.0;
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
        return recorder_.assemble(cylinders_, sensor_);
    }

  private:
    void start();
    void begin_recording();
    void set_conditions(double time_s);
    void take_charge() noexcept;
    void control_step(double time_s, bool record);
    void engine_step(double time_s, bool record);
    void finish_firings(double end_s);
    [[nodiscard]] Surroundings surroundings(double time_s) const noexcept;
    [[nodiscard]] Recorder::Shown shown(double time_s) const noexcept {
        return {control_.load(), fuel_is_cut(time_s), model_.in_gear(), model_.vehicle_kmh(),
                starting_.battery_v(flywheel_rad_s())};
    }
    [[nodiscard]] AirPath::Demand demand(double time_s) const noexcept;
    [[nodiscard]] double flywheel_rad_s() const noexcept {
        return model_.speed_rad_s[static_cast<std::size_t>(model_.layout().flywheel)];
    }
    [[nodiscard]] double intake_pa() const noexcept {
        return air_.has_plenum() ? air_.manifold_pa() : manifold_pa(scenario_.combustion, control_.load());
    }
    [[nodiscard]] bool fuel_is_cut(double time_s) const noexcept {
        return starting_.no_fuel() || cylinders_.firing().fuel_is_cut(0, time_s);
    }
    [[nodiscard]] std::size_t sensor_mass() const noexcept {
        const bool rear = scenario_.crank_wheel.at == SensorAt::flywheel;
        return static_cast<std::size_t>(rear ? model_.layout().flywheel : model_.layout().front);
    }

    const Scenario& scenario_;
    const StepWatch& watch_;
    EngineModel model_;
    SpeedControl control_;
    AirPath air_;
    Starting starting_;
    std::optional<SparkEfficiency> efficiency_;  ///< only where spark moves
    bool conditions_vary_ = false;
    double lowered_rad_ = 0.0;  ///< by which all angles were lowered so far
    WheelSensor sensor_;
    CylinderRuns cylinders_;
    Surroundings around_{};
    Recorder recorder_;
    int steps_per_control_ = 20;
    double step_s_ = 5e-5;
};

void Run::start() {
    Random random(scenario_.seed, stream::kStartAngle);
    const double drawn = random.uniform() * model_.cylinder().cycle_rad();
    const double start_s = -scenario_.settle_s;
    const Operation mode = scenario_.operation.mode;
    const bool at_rest = mode == Operation::cranking || mode == Operation::start;
    const double speed = at_rest ? 0.0 : scenario_.operation.speed_rpm.at(start_s) * kRadPerRpm;
    model_.start(scenario_.start_deg >= 0.0 ? scenario_.start_deg * kRadPerDeg : drawn, speed, start_s);
    starting_.update(start_s, 0.0, 0.0, speed);
    set_conditions(start_s);
    control_.settle(start_s);
    at_rest ? air_.rest(demand(start_s)) : air_.settle(demand(start_s));
    take_charge();
    model_.preload_driveline(control_.steady_torque_nm(start_s));
    model_.manifold_pa = intake_pa();
    around_ = surroundings(start_s);
    cylinders_.start(start_s, around_);
}

Surroundings Run::surroundings(double time_s) const noexcept {
    Surroundings around;
    around.load = control_.load();
    around.manifold_pa = model_.manifold_pa;
    around.manifold_pa_s = air_.has_plenum() ? air_.manifold_pa_s() : 0.0;
    around.since_s = time_s;
    around.exhaust_rise_pa = air_.exhaust_rise_pa();
    around.retard_deg = scenario_.combustion.retard_deg.at(time_s) + starting_.spark_deg();
    around.no_fuel = starting_.no_fuel();
    return around;
}

AirPath::Demand Run::demand(double time_s) const noexcept {
    AirPath::Demand demand;
    demand.time_s = time_s;
    demand.load = air_.has_plenum() ? control_.wanted() : control_.load();
    demand.reference_rad_s = control_.throttle_rad_s(time_s);
    demand.speed_rad_s = flywheel_rad_s();
    for (int n = 1; n <= model_.cylinders(); ++n)
        demand.open_cylinders += cylinders_.firing().deactivation(n, time_s) == nullptr ? 1 : 0;
    return demand;
}

/// Charge is what the plenum holds; without throttle, load is fuel and the plenum only sets the air.
void Run::take_charge() noexcept {
    if (air_.has_plenum() && scenario_.combustion.throttled)
        control_.take_load(air_.manifold_pa() / model_.cylinder().ambient_pa());
}

void Run::set_conditions(double time_s) {
    if (!conditions_vary_) return;
    const double retard = scenario_.combustion.retard_deg.at(time_s) + starting_.steady_spark_deg();
    const double friction = friction_factor(scenario_.friction, scenario_.channels.coolant_c.at(time_s));
    control_.set_conditions(efficiency_ && retard != 0.0 ? efficiency_->at(retard) : 1.0, friction);
    model_.set_friction_factor(friction);
}

void Run::begin_recording() {
    const double angle = model_.angle_rad[sensor_mass()];
    sensor_.start(angle);
    recorder_.begin(angle, model_.cylinder().cycle_rad());
}

void Run::control_step(double time_s, bool record) {
    if (record) recorder_.look(time_s, shown(time_s), cylinders_.firing());
    const std::size_t flywheel = static_cast<std::size_t>(model_.layout().flywheel);
    starting_.update(time_s, kControlStep, model_.angle_rad[flywheel] + lowered_rad_, flywheel_rad_s());
    set_conditions(time_s);
    model_.manifold_pa = intake_pa();
    model_.load_nm = control_.load_nm();
    model_.control(time_s, kControlStep);
    model_.starter_engaged = starting_.engaged();
    model_.starter_gain = starting_.gain();
    model_.starter_level = starting_.level();
    control_.let_govern(starting_.running());
    around_ = surroundings(time_s);
    for (int i = 0; i < steps_per_control_; ++i) engine_step(time_s + i * step_s_, record);
    cylinders_.leak_at_rest(kControlStep);
    const double end_s = time_s + kControlStep;
    control_.update(end_s, kControlStep, flywheel_rad_s(), fuel_is_cut(time_s));
    air_.update(demand(end_s), kControlStep);
    take_charge();
    const double lowered = model_.rebase();
    lowered_rad_ += lowered;
    if (lowered > 0.0) sensor_.rebase(lowered);
}

void Run::engine_step(double time_s, bool record) {
    const std::size_t mass = sensor_mass();
    SensorStep sensor{time_s, step_s_, model_.angle_rad[mass], model_.speed_rad_s[mass], 0.0, 0.0};
    cylinders_.before_step();
    model_.step(step_s_);
    if (record) {
        sensor.next_angle_rad = model_.angle_rad[mass];
        sensor.next_speed_rad_s = model_.speed_rad_s[mass];
        sensor_.step(sensor, recorder_.edges);
        if (watch_) watch_(model_, time_s + step_s_);
    }
    cylinders_.after_step(time_s, step_s_, around_);
}

void Run::finish_firings(double end_s) {
    for (int i = 0; i < 2000 && cylinders_.at_work(end_s); ++i) control_step(end_s + i * kControlStep, false);
}

}  // namespace

read::Recording simulate(const Scenario& scenario, const std::function<void(double)>& progress, const StepWatch& watch,
                         DeepTruth* truth) {
    if (const Status status = validate(scenario); !status)
        throw std::invalid_argument(std::string(status.parameter) + " " + status.why);
    return Run(scenario, watch, truth).run(progress);
}

}  // namespace kurbel::simulate
