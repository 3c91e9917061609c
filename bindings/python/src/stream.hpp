// A Detector with a list of events beside it that takes what a full queue cannot hold: Python callers never see one.
#pragma once

#include <utility>
#include <vector>

#include "bind.hpp"
#include "kurbel/detector.hpp"
#include "kurbel/read/recording.hpp"

namespace kurbel::python {

/// Edges where they lie; `signals` null: all are crank edges.
struct EdgeSpan {
    const std::int64_t* ticks;
    const std::uint8_t* signals;
    std::size_t size;

    [[nodiscard]] Signal signal(std::size_t i) const noexcept {
        return signals == nullptr ? Signal::crank : static_cast<Signal>(signals[i]);
    }
};

struct Stream {
    Stream() = default;

    /// Raises ValueError where the configuration is wrong.
    explicit Stream(const Config& config) {
        auto made = Detector::create(config);
        raise_if_bad(made.status);
        detector = made.value;
    }

    Detector detector{};
    std::vector<Event> events{};
    Status fault{};

    void drain() {
        Event event;
        while (detector.next_event(event)) events.push_back(event);
    }

    /// Calls `push` until it no longer meets a full queue. False (with `fault` set) where it fails for good.
    template <class Push>
    bool insist(Push&& push) {
        for (;;) {
            const Status status = push();
            if (status.ok()) return true;
            if (status.code != StatusCode::queue_full) {
                fault = status;
                return false;
            }
            drain();
        }
    }

    bool push(const EdgeSpan& edges) {
        for (std::size_t i = 0; i < edges.size; ++i)
            if (!insist([&] { return detector.push_edge(edges.ticks[i], edges.signal(i)); })) return false;
        drain();
        return true;
    }

    bool push(const read::ChannelRow& row) {
        return insist([&] { return detector.push_channel(row.tick, row.channel, row.value); });
    }

    bool finish() {
        const bool done = insist([&] { return detector.finish(); });
        drain();
        return done;
    }

    /// The events so far; none stays.
    [[nodiscard]] std::vector<Event> take() {
        raise_if_bad(std::exchange(fault, Status{}));
        return std::exchange(events, {});
    }
};

}  // namespace kurbel::python
