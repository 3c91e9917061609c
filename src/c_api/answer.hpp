// The answer behind a kurbel_answer handle, and how an exception of a study becomes a code. Inside the library only.
#pragma once

#include <cstdint>
#include <memory>
#include <new>
#include <string>
#include <utility>

#include "c_api/convert.hpp"
#include "kurbel/read/input_error.hpp"
#include "kurbel/study/answer.hpp"

/// The answer, with its JSON made once so that its text stays where it is.
struct kurbel_answer {
    explicit kurbel_answer(kurbel::Answer&& answer) : data(std::move(answer)), json(kurbel::answer_json(data)) {}
    kurbel::Answer data;
    std::string json;
};

namespace kurbel::c_api {

/// A call that cannot be asked; the caller's text must not keep what an earlier one said.
inline std::int32_t refuse(const char* why, char* text, std::size_t text_size) noexcept {
    write_text(why, text, text_size);
    return KURBEL_BAD_ARGUMENT;
}

/// Runs `work`; an exception becomes a code, and what went wrong goes to the caller's text.
template <class Work>
std::int32_t guarded(char* text, std::size_t text_size, Work&& work) noexcept {
    try {
        work();
        write_text("", text, text_size);
        return KURBEL_OK;
    } catch (const WrongQuestion& error) {
        write_text(error.what(), text, text_size);
        return KURBEL_BAD_ARGUMENT;
    } catch (const read::InputError& error) {
        write_text(error.what(), text, text_size);
        return KURBEL_BAD_INPUT;
    } catch (const std::bad_alloc&) {
        write_text(kurbel_status_message(KURBEL_OUT_OF_MEMORY), text, text_size);
        return KURBEL_OUT_OF_MEMORY;
    } catch (const std::exception& error) {
        write_text(error.what(), text, text_size);
        return KURBEL_INTERNAL;
    } catch (...) {
        write_text(kurbel_status_message(KURBEL_INTERNAL), text, text_size);
        return KURBEL_INTERNAL;
    }
}

/// Asks `study` (a call that gives an Answer) and hands the answer out; on error *out is null.
template <class Study>
std::int32_t answered(kurbel_answer** out, char* text, std::size_t text_size, Study&& study) noexcept {
    if (out == nullptr) return refuse("out: must not be NULL", text, text_size);
    *out = nullptr;
    return guarded(text, text_size, [&] { *out = std::make_unique<kurbel_answer>(study()).release(); });
}

}  // namespace kurbel::c_api
