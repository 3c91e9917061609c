#include "kurbel/simulate/waveform.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <fstream>

#include "kurbel/read/input_error.hpp"
#include "read/npy.hpp"
#include "simulate/streams.hpp"

namespace kurbel::simulate {

Waveform::Waveform(const Scenario& scenario, double rate_hz)
    : scenario_(scenario), sensor_(scenario), noise_(scenario.seed, stream::kWaveform), rate_hz_(rate_hz) {
    volts_.reserve(static_cast<std::size_t>(scenario.seconds * rate_hz) + 1);
}

float Waveform::sample(const State& at) {
    const double noise = scenario_.sensor.noise_v > 0.0 ? scenario_.sensor.noise_v * noise_.normal() : 0.0;
    return static_cast<float>(sensor_.volts(at.angle_rad, at.speed_rad_s, at.time_s) + noise);
}

void Waveform::look(const EngineModel& model, double time_s) {
    const bool rear = scenario_.crank_wheel.at == SensorAt::flywheel;
    const auto mass = static_cast<std::size_t>(rear ? model.layout().flywheel : model.layout().front);
    const State now{time_s, model.angle_rad[mass], model.speed_rad_s[mass]};
    // The recording begins a step before the first look.
    if (!begun_) before_ = {0.0, now.angle_rad - now.speed_rad_s * now.time_s, now.speed_rad_s};
    begun_ = true;
    // The model lowers its angles by whole cycles now and then.
    const double cycle = model.cylinder().cycle_rad();
    before_.angle_rad -= std::floor((before_.angle_rad - now.angle_rad) / cycle + 0.5) * cycle;
    const double step = now.time_s - before_.time_s;
    for (double next = static_cast<double>(volts_.size()) / rate_hz_; next <= now.time_s && next < scenario_.seconds;
         next = static_cast<double>(volts_.size()) / rate_hz_) {
        // Cubic through angles and speeds at both ends of the step.
        const double t = (next - before_.time_s) / step;
        const double rise = now.angle_rad - before_.angle_rad;
        const double s0 = before_.speed_rad_s * step;
        const double s1 = now.speed_rad_s * step;
        const double c2 = 3.0 * rise - 2.0 * s0 - s1;
        const double c3 = s0 + s1 - 2.0 * rise;
        volts_.push_back(sample(
            {next, before_.angle_rad + t * (s0 + t * (c2 + t * c3)), (s0 + t * (2.0 * c2 + 3.0 * t * c3)) / step}));
    }
    before_ = now;
}

void Waveform::write(const std::string& path) const {
    std::string text;
    if (path.size() > 4 && path.compare(path.size() - 4, 4, ".npy") == 0) {
        text = read::npy_bytes(std::vector<double>(volts_.begin(), volts_.end()));
    } else {
        text = "time_s,volts\n";
        std::array<char, 64> buffer{};
        const auto put = [&](auto value, char end) {
            text.append(buffer.data(), std::to_chars(buffer.data(), buffer.data() + buffer.size(), value).ptr);
            text += end;
        };
        for (std::size_t i = 0; i < volts_.size(); ++i) {
            put(std::floor(static_cast<double>(i) / rate_hz_ * 1e9 + 0.5) / 1e9, ',');
            put(volts_[i], '\n');
        }
    }
    std::ofstream file(path, std::ios::binary | std::ios::trunc);
    file << text;
    file.close();
    if (!file) throw read::InputError(path, 0, "cannot be written");
}

}  // namespace kurbel::simulate
