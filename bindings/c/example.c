/* Streams a recording through a detector and prints every misfire and each cylinder's count. kurbel_recording_feed stands in the place
 * where a logger calls kurbel_detector_push_edge with the ticks of its own timer; all else is the same.
 *
 *     cc -std=c99 example.c $(pkg-config --cflags --libs --static kurbel) -o example
 *     ./example RECORDING
 */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "kurbel/kurbel.h"

typedef struct {
    long judged[KURBEL_MAX_CYLINDERS + 1]; /* place 0: firings whose cylinder is not known */
    long misfires[KURBEL_MAX_CYLINDERS + 1];
    long unjudged;
} counts;

static void take_events(kurbel_detector* detector, counts* seen) {
    kurbel_event event;
    memset(&event, 0, sizeof event);
    event.struct_size = sizeof event;
    while (kurbel_detector_next_event(detector, &event) == KURBEL_EVENT) {
        if (event.verdict == KURBEL_UNJUDGED) {
            seen->unjudged++;
            continue;
        }
        seen->judged[event.cylinder]++;
        if (event.verdict == KURBEL_MISFIRE) {
            seen->misfires[event.cylinder]++;
            printf("%.3f s: misfire, cylinder ", event.time_s);
            if (event.cylinder > 0)
                printf("%" PRId32, event.cylinder);
            else /* the phase is unknown, and it is one of two that fire a revolution apart */
                printf("%" PRId32 " or %" PRId32, event.candidates[0], event.candidates[1]);
            printf(", %.0f rpm, severity %.2f\n", event.speed_rpm, event.severity);
        }
    }
}

/* Pushes the whole recording. A full queue is normal: take events, then go on. */
static int32_t run(kurbel_recording* recording, kurbel_detector* detector, counts* seen) {
    int32_t answer;
    do {
        answer = kurbel_recording_feed(recording, detector);
        take_events(detector, seen);
    } while (answer == KURBEL_QUEUE_FULL);
    if (answer != KURBEL_OK) return answer;
    do {
        answer = kurbel_detector_finish(detector);
        take_events(detector, seen);
    } while (answer == KURBEL_QUEUE_FULL);
    return answer;
}

static void report(const kurbel_detector* detector, const counts* seen, int32_t cylinders) {
    kurbel_sync sync;
    memset(&sync, 0, sizeof sync);
    sync.struct_size = sizeof sync;
    kurbel_detector_sync(detector, &sync);
    printf("edges %" PRId64 ", teeth %" PRId64 ", losses %" PRId64 ", phase %s\n", sync.edges, sync.teeth, sync.losses,
           kurbel_phase_name(sync.phase));
    for (int32_t n = 1; n <= cylinders; n++)
        printf("cylinder %" PRId32 ": %ld misfires in %ld judged firings\n", n, seen->misfires[n], seen->judged[n]);
    if (seen->judged[0] > 0)
        printf("cylinder unknown: %ld misfires in %ld judged firings\n", seen->misfires[0], seen->judged[0]);
    printf("unjudged: %ld\n", seen->unjudged);
}

int main(int argc, char** argv) {
    if (argc != 2) {
        fprintf(stderr, "usage: %s RECORDING\n", argv[0]);
        return 2;
    }
    char why[512];
    kurbel_recording* recording = NULL;
    if (kurbel_recording_open(argv[1], &recording, why, sizeof why) != KURBEL_OK) {
        fprintf(stderr, "%s\n", why);
        return 3;
    }
    kurbel_config config;
    kurbel_detector* detector = NULL;
    kurbel_config_default(&config, sizeof config);
    kurbel_recording_config(recording, &config);
    int32_t answer = kurbel_detector_create(&config, &detector);
    if (answer == KURBEL_OK) {
        counts seen;
        memset(&seen, 0, sizeof seen);
        answer = run(recording, detector, &seen);
        if (answer == KURBEL_OK) report(detector, &seen, config.cylinders);
    }
    if (answer != KURBEL_OK) fprintf(stderr, "%s\n", kurbel_status_message(answer));
    kurbel_detector_destroy(detector);
    kurbel_recording_close(recording);
    return answer == KURBEL_OK ? 0 : 3;
}
