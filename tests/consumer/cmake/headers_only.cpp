// A small target's program: the streaming core from headers alone, in single precision.
#include <cstdio>
#include <memory>

#include "kurbel/detector.hpp"

int main() {
    kurbel::Config config;
    config.engine.cylinders = 4;
    config.engine.firing_order = {1, 3, 4, 2};
    kurbel::make_even_firing(config.engine);
    const int absent[2] = {58, 59};
    if (!kurbel::make_even_wheel(60, absent, 2, config.crank_wheel).ok()) return 1;
    const auto made = std::make_unique<kurbel::Result<kurbel::BasicDetector<float>>>(
        kurbel::BasicDetector<float>::create(config));
    if (!made->ok()) return 1;
    auto& detector = made->value;
    std::int64_t tick = 0;
    int events = 0;
    for (int tooth = 0; tooth < 60 * 200; ++tooth) {
        tick += 1000000;
        if (tooth % 60 >= 58) continue;
        while (!detector.push_edge(tick, kurbel::Signal::crank).ok()) {
            kurbel::Event event;
            while (detector.next_event(event)) ++events;
        }
    }
    while (!detector.finish().ok()) {
        kurbel::Event event;
        while (detector.next_event(event)) ++events;
    }
    kurbel::Event event;
    while (detector.next_event(event)) ++events;
    std::printf("%lld teeth, %d events\n", static_cast<long long>(detector.sync().teeth), events);
    return detector.sync().teeth > 11000 && events > 300 ? 0 : 1;
}
