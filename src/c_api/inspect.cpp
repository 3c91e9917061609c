// kurbel.h: what edges alone tell.
#include "c_api/answer.hpp"
#include "kurbel/discover/tell.hpp"

int32_t kurbel_inspect(const int64_t* ticks, const uint8_t* signals, size_t count, double timer_hz, int32_t timer_bits,
                       const double* fuel_cut_s, size_t cuts, kurbel_answer** out, char* text, size_t text_size) {
    using namespace kurbel;
    if (out != nullptr) *out = nullptr;
    if ((ticks == nullptr && count > 0) || (fuel_cut_s == nullptr && cuts > 0))
        return c_api::refuse("ticks and fuel_cut_s: must not be NULL", text, text_size);
    const TimerConfig timer{timer_hz, timer_bits};
    if (const Status status = validate(timer); !status) {
        c_api::write_text(status, text, text_size);
        return c_api::code(status);
    }
    return c_api::answered(out, text, text_size, [&] {
        discover::EdgeLines lines{ticks, signals, count, timer, {}};
        for (size_t i = 0; i < cuts; ++i) lines.fuel_cut_s.emplace_back(fuel_cut_s[2 * i], fuel_cut_s[2 * i + 1]);
        return discover::as_answer(discover::discover(lines), nullptr, &timer);
    });
}
