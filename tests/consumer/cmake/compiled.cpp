// A program that links the compiled library: C interface and file reading.
#include <cstdio>
#include <cstring>

#include "kurbel/core/version.hpp"
#include "kurbel/kurbel.h"

int main(int argc, char** argv) {
    if (argc != 2) return 2;
    char why[256];
    kurbel_recording* recording = nullptr;
    if (kurbel_recording_open(argv[1], &recording, why, sizeof why) != KURBEL_OK) {
        std::fprintf(stderr, "%s\n", why);
        return 1;
    }
    std::printf("kurbel %s, %lld edges\n", kurbel_version(), static_cast<long long>(kurbel_recording_edges(recording)));
    kurbel_recording_close(recording);
    return std::strcmp(kurbel_version(), KURBEL_VERSION_STRING) == 0 ? 0 : 1;
}
