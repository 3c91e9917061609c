// kurbel.h: learned wheels.
#include "c_api/answer.hpp"
#include "c_api/convert.hpp"
#include "c_api/recording.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/read/wheel_file.hpp"
#include "kurbel/read/wheel_learning.hpp"

/// A wheel and the name that messages give it.
struct kurbel_wheel {
    kurbel::read::WheelFile file{};
    std::string name;
};

namespace {

using kurbel::c_api::guarded;
using kurbel::c_api::refuse;

kurbel::read::LearnedWheel learned(const kurbel::read::Recording& recording, const std::string& name) {
    kurbel::Result<kurbel::read::LearnedWheel> result = kurbel::read::learn_wheel(recording);
    if (!result.ok())
        throw kurbel::read::InputError(name, 0, std::string(result.status.parameter) + ": " + result.status.why);
    return result.value;
}

}  // namespace

int32_t kurbel_wheel_learn(const kurbel_recording* recording, kurbel_wheel** out, char* text, size_t text_size) {
    if (out != nullptr) *out = nullptr;
    if (recording == nullptr || out == nullptr) return refuse("recording and out must not be NULL", text, text_size);
    return guarded(text, text_size, [&] {
        kurbel::read::LearnedWheel wheel = learned(recording->data, recording->name);
        if (wheel.wheel.errors.teeth == 0)
            throw kurbel::read::InputError(recording->name, 0,
                                           "holds too little to learn a wheel from: no engine cycle with every tooth");
        *out = new kurbel_wheel{wheel.wheel, recording->name};
    });
}

int32_t kurbel_wheel_open(const char* path, kurbel_wheel** out, char* text, size_t text_size) {
    if (out != nullptr) *out = nullptr;
    if (path == nullptr || out == nullptr) return refuse("path and out must not be NULL", text, text_size);
    return guarded(text, text_size, [&] { *out = new kurbel_wheel{kurbel::read::read_wheel_file(path), path}; });
}

int32_t kurbel_wheel_save(const kurbel_wheel* wheel, const char* path, char* text, size_t text_size) {
    if (wheel == nullptr || path == nullptr) return refuse("wheel and path must not be NULL", text, text_size);
    return guarded(text, text_size, [&] { kurbel::read::write_wheel_file(path, wheel->file); });
}

void kurbel_wheel_close(kurbel_wheel* wheel) { delete wheel; }

int32_t kurbel_wheel_teeth(const kurbel_wheel* wheel) { return wheel == nullptr ? 0 : wheel->file.errors.teeth; }

int32_t kurbel_wheel_tooth(const kurbel_wheel* wheel, int32_t tooth, double* error_deg, double* se_deg) {
    if (wheel == nullptr || tooth < 0 || tooth >= wheel->file.errors.teeth) return KURBEL_BAD_ARGUMENT;
    const auto at = static_cast<std::size_t>(tooth);
    if (error_deg != nullptr) *error_deg = static_cast<double>(wheel->file.errors.error_deg[at]);
    if (se_deg != nullptr) *se_deg = static_cast<double>(wheel->file.se_deg[at]);
    return KURBEL_OK;
}

int32_t kurbel_wheel_use(const kurbel_wheel* wheel, kurbel_config* config, char* text, size_t text_size) {
    if (wheel == nullptr || config == nullptr) return refuse("wheel and config must not be NULL", text, text_size);
    if (config->struct_size < sizeof(kurbel_config))
        return refuse("config.struct_size is too small for wheel errors", text, text_size);
    kurbel::Config ours;
    if (const kurbel::Status status = kurbel::c_api::to_cpp(config, ours); !status) {
        kurbel::c_api::write_text(status, text, text_size);
        return kurbel::c_api::code(status);
    }
    return guarded(text, text_size, [&] {
        kurbel::read::use_wheel_file(wheel->name, wheel->file, ours);
        kurbel::c_api::write_out(kurbel::c_api::to_c(ours), config);
    });
}

int32_t kurbel_wheel_compare(const kurbel_wheel* wheel, const kurbel_recording* recording, double* log_odds,
                             double* left_deg, char* text, size_t text_size) {
    if (wheel == nullptr || recording == nullptr || log_odds == nullptr)
        return refuse("wheel, recording and log_odds must not be NULL", text, text_size);
    return guarded(text, text_size, [&] {
        kurbel::read::Recording with = recording->data;
        kurbel::read::use_wheel_file(wheel->name, wheel->file, with.config);
        const kurbel::WheelFit fit = learned(with, recording->name).fit;
        *log_odds = fit.log_odds;
        if (left_deg != nullptr) *left_deg = fit.rms_left_deg;
    });
}
