// The recording behind a kurbel_recording handle. Inside the library only.
#pragma once

#include <string>
#include <utility>

#include "kurbel/kurbel.h"
#include "kurbel/read/analysis.hpp"
#include "kurbel/read/recording.hpp"

/// A recording, where it was read from, and how far it has been fed.
struct kurbel_recording {
    kurbel_recording(kurbel::read::Recording&& read, const char* folder) : data(std::move(read)), name(folder) {}
    kurbel::read::Recording data;
    std::string name;
    kurbel::read::Feed feed{kurbel::read::view_of(data)};
};
