/* The C interface of kurbel: C99. It brings one more header with it, core/version.hpp, which holds plain #defines.
 *
 * Story of a program: fill a kurbel_config (kurbel_config_default, then your engine and wheel), create a detector, push edges
 * as they come, take events until there are none, finish at the end of the stream and take the rest, destroy.
 *
 *     kurbel_config config;
 *     kurbel_config_default(&config, sizeof config);
 *     ... engine, wheel ...
 *     kurbel_detector* detector = NULL;
 *     if (kurbel_detector_create(&config, &detector) != KURBEL_OK) ...   (kurbel_config_check says what is wrong)
 *     kurbel_detector_push_edge(detector, tick, KURBEL_CRANK);
 *     while (kurbel_detector_next_event(detector, &event) == KURBEL_EVENT) ...
 *
 * Rules that hold for every function:
 *  - Answers are int32_t: 0 done, positive information, negative error. Values are pinned and never reused.
 *  - Structs that cross the border begin with struct_size. The caller sets it to its own sizeof (kurbel_*_default does), the
 *    library touches no byte beyond it. Later versions append fields; an older program keeps working.
 *  - Unknown numbers are NaN, unknown list entries 0.
 *  - NULL where a pointer is needed answers KURBEL_BAD_ARGUMENT; nothing is written.
 *  - One handle belongs to one thread at a time; different handles are independent. There is no global state.
 *  - After creation nothing allocates, locks, prints or reads the locale, except where the heading of a section says so.
 */
#ifndef KURBEL_KURBEL_H
#define KURBEL_KURBEL_H

#include <stddef.h>
#include <stdint.h>

#include "kurbel/core/version.hpp" /* plain #defines: KURBEL_VERSION_MAJOR, _MINOR, _PATCH, _STRING */

#if defined(_WIN32)
#define KURBEL_API
#elif defined(__GNUC__)
#define KURBEL_API __attribute__((visibility("default")))
#else
#define KURBEL_API
#endif

#ifdef __cplusplus
extern "C" {
#endif

/* ---- limits and codes ------------------------------------------------------------------------------------------- */

#define KURBEL_MAX_CYLINDERS 16
#define KURBEL_MAX_TEETH 400    /* places of the crank wheel in one revolution */
#define KURBEL_MAX_CAM_EDGES 32 /* cam edges in one engine cycle */

/* Answers. */
#define KURBEL_OK 0
#define KURBEL_EVENT 1       /* kurbel_detector_next_event: an event was written */
#define KURBEL_QUEUE_FULL 10 /* nothing was consumed: take events, then call again */
#define KURBEL_BAD_ARGUMENT \
    (-10) /* NULL, a size too small, a number out of range, an unknown signal or channel, a question that
                                     cannot be asked */
#define KURBEL_BAD_ENGINE (-20)
#define KURBEL_BAD_WHEEL (-30)
#define KURBEL_BAD_TIMER (-40)
#define KURBEL_BAD_SETTINGS (-50)
#define KURBEL_BAD_ORDER (-60) /* call not allowed now, for example a push after finish */
#define KURBEL_OUT_OF_MEMORY (-70)
#define KURBEL_BAD_INPUT (-80) /* a file, folder or snapshot that cannot be used */
#define KURBEL_INTERNAL (-90)

/* Signals: what an edge was seen on. */
#define KURBEL_CRANK 0
#define KURBEL_CAM 1

/* Channels: measured quantities beside the edges. */
#define KURBEL_LOAD 0                           /* relative charge (diesel: fuel), 1 is full, more with boost */
#define KURBEL_FUEL_CUT 1                       /* 0 to 1, cut above 0.5; all cylinders */
#define KURBEL_COOLANT_C 2                      /* degrees Celsius; takes no part in verdicts */
#define KURBEL_VEHICLE_KMH 3                    /* vehicle speed; takes no part in verdicts */
#define KURBEL_FUEL_CUT_CYLINDER(n) (8 + (n)-1) /* as KURBEL_FUEL_CUT, cylinder n (1-based) alone */

/* Where the crank sensor sits. */
#define KURBEL_AT_UNKNOWN 0
#define KURBEL_AT_FRONT 1
#define KURBEL_AT_FLYWHEEL 2

/* How firings are judged. */
#define KURBEL_METHOD_WORK 0              /* energy balance with learned pattern: the default */
#define KURBEL_METHOD_SEGMENT_ROUGHNESS 1 /* the published classic, for comparison */

/* Verdicts. */
#define KURBEL_FIRED 0
#define KURBEL_MISFIRE 1
#define KURBEL_UNJUDGED 2

/* Why a firing is unjudged. */
#define KURBEL_REASON_NONE 0
#define KURBEL_REASON_NO_SYNC 1
#define KURBEL_REASON_NO_PHASE 2
#define KURBEL_REASON_CRANKING 3
#define KURBEL_REASON_FUEL_CUT 4
#define KURBEL_REASON_LOW_TORQUE 5
#define KURBEL_REASON_ROUGH_ROAD 6
#define KURBEL_REASON_TRANSIENT 7
#define KURBEL_REASON_LEARNING 8

/* What is known of the 720-degree phase. */
#define KURBEL_PHASE_UNKNOWN 0
#define KURBEL_PHASE_CAM 1        /* told by the cam signal */
#define KURBEL_PHASE_CRANK 2      /* told by the crank's own motion */
#define KURBEL_PHASE_NOT_NEEDED 3 /* two-stroke */

/* Waveforms: how a sensor tells of a tooth. */
#define KURBEL_SENSOR_AUTOMATIC 0 /* to be found out */
#define KURBEL_SENSOR_INDUCTIVE 1 /* a coil: zero crossings, height follows speed */
#define KURBEL_SENSOR_DIGITAL 2   /* two levels: Hall, optical, a comparator */

/* Which crossing of a tooth is its edge. */
#define KURBEL_FLANK_AUTOMATIC 0
#define KURBEL_FLANK_FALLING 1
#define KURBEL_FLANK_RISING 2

/* Sample formats of kurbel_waveform_push. */
#define KURBEL_SAMPLES_F64 0 /* double */
#define KURBEL_SAMPLES_F32 1 /* float */
#define KURBEL_SAMPLES_I16 2 /* int16_t */
#define KURBEL_SAMPLES_I32 3 /* int32_t */
#define KURBEL_SAMPLES_U8 4  /* uint8_t */

/* Findings on a waveform: bits of kurbel_waveform_report.findings; kurbel_waveform_finding_advice tells what to look at. */
#define KURBEL_FINDING_NO_SIGNAL (1U << 0)
#define KURBEL_FINDING_CLIPPED (1U << 1)
#define KURBEL_FINDING_TOO_SMALL (1U << 2)
#define KURBEL_FINDING_NOISY (1U << 3)
#define KURBEL_FINDING_HUM (1U << 4)
#define KURBEL_FINDING_INVERTED (1U << 5)
#define KURBEL_FINDING_KIND_MISTAKEN (1U << 6)
#define KURBEL_FINDING_UNDERSAMPLED (1U << 7)
#define KURBEL_FINDING_DROPOUTS (1U << 8)
#define KURBEL_FINDING_DRIFT (1U << 9)
#define KURBEL_FINDING_BAD_SAMPLES (1U << 10)
#define KURBEL_FINDING_CHANNELS_SWAPPED (1U << 11)

/* ---- structs ---------------------------------------------------------------------------------------------------- */

/* Engine, wheel, cam, timer and settings: all that a detector needs to know. */
typedef struct kurbel_config {
    uint32_t struct_size;
    int32_t strokes;                             /* 4, or 2 (one firing per cylinder and revolution) */
    int32_t cylinders;                           /* 1 to 16 */
    int32_t sensor_at;                           /* KURBEL_AT_* */
    int32_t firing_order[KURBEL_MAX_CYLINDERS];  /* cylinder numbers, starts with 1 */
    int32_t throw_number[KURBEL_MAX_CYLINDERS];  /* crank pin by cylinder, from the front, 1-based; 0 = unknown */
    int32_t bank[KURBEL_MAX_CYLINDERS];          /* by cylinder; 0 = unknown */
    double firing_tdc_deg[KURBEL_MAX_CYLINDERS]; /* crank degrees in firing order, starts with 0, rising */
    double bore_mm;                              /* geometry and masses: NaN = unknown */
    double stroke_mm;
    double rod_mm;
    double compression_ratio;
    double reciprocating_kg;                   /* per cylinder */
    double inertia_kg_m2;                      /* rotating, crank to clutch */
    double tdc1_deg;                           /* crank degrees from place 0's edge to cylinder 1's TDC, 0 to 360 */
    int32_t wheel_positions;                   /* evenly spaced places; 0 where the teeth are listed */
    int32_t wheel_teeth;                       /* teeth really there, 1 to 400 */
    double tooth_angle_deg[KURBEL_MAX_TEETH];  /* crank degrees of each tooth from place 0, rising, below 360 */
    double cam_edge_deg[KURBEL_MAX_CAM_EDGES]; /* crank degrees after cylinder 1's firing TDC, rising */
    int32_t cam_edges;                         /* 0 = no cam signal */
    int32_t timer_bits;                        /* width of a wrapping counter, 8 to 62; 0 = ticks never wrap */
    double timer_hz;                           /* ticks a second, 1e3 to 1e12 */
    double false_alarm;                        /* accepted chance that a healthy firing is called a misfire */
    int32_t method;                            /* KURBEL_METHOD_* */
    int32_t reserved;                          /* 0 */
    /* What a learned wheel told; a struct_size that ends before here says that none was learned. */
    double tooth_error_deg[KURBEL_MAX_TEETH]; /* how much farther on than told each tooth stands; mean 0 */
    double tooth_rms_se_deg;                  /* their standard error */
    int32_t wheel_error_teeth;                /* as wheel_teeth; 0 = no errors are known */
    int32_t reserved_too;                     /* 0 */
} kurbel_config;

/* One firing, judged. Unknown numbers are NaN. */
typedef struct kurbel_event {
    uint32_t struct_size;
    int32_t cylinder;           /* 1-based; 0 while the phase is unknown */
    int32_t candidates[2];      /* possible cylinders where `cylinder` is 0; unused places 0 */
    int32_t verdict;            /* KURBEL_FIRED, KURBEL_MISFIRE, KURBEL_UNJUDGED */
    int32_t reason;             /* KURBEL_REASON_* */
    int64_t cycle;              /* engine cycles since the first synchronised one, from 0 */
    double time_s;              /* firing TDC: unwrapped tick / timer_hz */
    double speed_rpm;           /* mean over the engine cycle around the firing */
    double load;                /* relative charge */
    double acceleration_rad_s2; /* mean over the firing interval, inertia torque removed */
    double work_j;              /* indicated work; NaN without inertia_kg_m2, and where the motion contradicts it */
    double work_se_j;           /* its standard error */
    double expected_j;          /* what a healthy firing does at this speed and load */
    double work_per_inertia;    /* rad^2/s^2: work over inertia */
    double work_se_per_inertia;
    double expected_per_inertia;
    double severity;    /* 1 - work / expected: 0 as expected, 1 no combustion; not clipped */
    double evidence;    /* decision statistic, in healthy standard deviations */
    double threshold;   /* its limit for this firing: beyond it a misfire is called */
    double probability; /* that at least half of the expected work is missing, 0 to 1 */
} kurbel_event;

/* Counters of what the edges looked like. */
typedef struct kurbel_sync {
    uint32_t struct_size;
    int32_t synchronised; /* 0 or 1 */
    int32_t phase;        /* KURBEL_PHASE_* */
    int32_t reserved;
    int64_t edges;       /* crank and cam edges pushed */
    int64_t teeth;       /* edges taken as teeth */
    int64_t revolutions; /* whole revolutions while synchronised */
    int64_t losses;      /* times that synchronism was lost */
    int64_t extra;       /* edges that are no tooth */
    int64_t missed;      /* teeth without an edge */
    int64_t faults;      /* edges dropped: time stood still or ran backwards */
} kurbel_sync;

/* A sensor's waveform: what is told beforehand. Everything but rate_hz may be left to be found out. */
typedef struct kurbel_waveform_settings {
    uint32_t struct_size;
    int32_t kind;       /* KURBEL_SENSOR_* */
    int32_t flank;      /* KURBEL_FLANK_* */
    int32_t reserved;   /* 0 */
    int64_t first_tick; /* tick of sample 0 */
    double rate_hz;     /* samples a second, 1e2 to 1e9 */
    double tick_hz;     /* clock of the edges, 1e3 to 1e12; default 1e9 */
    double scale;       /* multiplies every sample: volts a count; default 1 */
    double least_swing; /* after scale: swings below this, peak to peak, are no tooth; default 0 */
} kurbel_waveform_settings;

/* One edge of a tooth in a waveform. */
typedef struct kurbel_waveform_edge {
    uint32_t struct_size;
    int32_t flank;      /* KURBEL_FLANK_FALLING or _RISING */
    int64_t tick;       /* on the clock of tick_hz */
    double time_s;      /* after sample 0 */
    double std_error_s; /* by the noise around this slope; systematic errors are not in it */
    double quality;     /* 0 to 1 */
    double swing;       /* from the extreme before the edge to the one after */
    double slope_per_s; /* steepness at the edge */
} kurbel_waveform_edge;

/* What was found of a sensor and its wiring. Unknown numbers are NaN. */
typedef struct kurbel_waveform_report {
    uint32_t struct_size;
    int32_t kind;       /* KURBEL_SENSOR_*; KURBEL_SENSOR_AUTOMATIC: nothing was found */
    int32_t flank;      /* KURBEL_FLANK_* */
    int32_t flank_sure; /* 1: the other flank is clearly shallower */
    uint32_t findings;  /* KURBEL_FINDING_* bits */
    int32_t reserved;
    int64_t samples;
    int64_t bad_samples;
    int64_t edges;
    int64_t dropouts;
    double swing;  /* typical, peak to peak */
    double middle; /* level of the edges */
    double noise;  /* standard deviation of one sample */
    double snr_db;
    double tooth_hz;      /* typical edges a second */
    double slope_samples; /* samples between the half heights around an edge */
    double hum;           /* amplitude of the mains hum that was taken off */
    double hum_hz;
    double clipped_share; /* share of the waves that end flat */
    double steps;         /* converter steps in a swing */
} kurbel_waveform_report;

typedef struct kurbel_detector kurbel_detector;
typedef struct kurbel_waveform kurbel_waveform;
typedef struct kurbel_recording kurbel_recording;
typedef struct kurbel_wheel kurbel_wheel;
typedef struct kurbel_answer kurbel_answer;
typedef struct kurbel_repair_test kurbel_repair_test;

/* ---- library ---------------------------------------------------------------------------------------------------- */

/* "0.1.0" of the library that runs, which may differ from the header's KURBEL_VERSION_STRING. Never NULL. */
KURBEL_API const char* kurbel_version(void);

/* major * 10000 + minor * 100 + patch. */
KURBEL_API int32_t kurbel_version_number(void);

/* One ASCII sentence for any integer, also an unknown one. Never NULL, static. */
KURBEL_API const char* kurbel_status_message(int32_t code);

/* The words of events.csv: "fired", "misfire", "unjudged"; "no_sync" ...; "cam" ...; "" for KURBEL_REASON_NONE and "?" for
 * a number without a word. Never NULL, static. */
KURBEL_API const char* kurbel_verdict_name(int32_t verdict);
KURBEL_API const char* kurbel_reason_name(int32_t reason);
KURBEL_API const char* kurbel_phase_name(int32_t phase);

/* ---- configuration ---------------------------------------------------------------------------------------------- */

/* Fills `config` with defaults: four-stroke, everything else unknown or 0, ticks of 1 ns that never wrap, default method and
 * false-alarm rate. `struct_size` is sizeof(kurbel_config) as the caller sees it.
 * Answers KURBEL_OK, KURBEL_BAD_ARGUMENT (NULL, or smaller than the first version's struct). */
KURBEL_API int32_t kurbel_config_default(kurbel_config* config, size_t struct_size);

/* Sets the wheel to `positions` (1 to 400) even places less `absent_count` absent ones, counted from place 0.
 * `absent` may be NULL where the count is 0. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT, KURBEL_BAD_WHEEL. */
KURBEL_API int32_t kurbel_config_even_wheel(kurbel_config* config, int32_t positions, const int32_t* absent,
                                            int32_t absent_count);

/* Sets evenly spaced firing TDCs for config->cylinders and config->strokes, which must be set before.
 * Answers KURBEL_OK, KURBEL_BAD_ARGUMENT, KURBEL_BAD_ENGINE (no possible number of cylinders or strokes). */
KURBEL_API int32_t kurbel_config_even_firing(kurbel_config* config);

/* Says whether a detector can be made of `config`, and where not, which parameter is wrong and why: "engine.firing_order:
 * must start with cylinder 1" goes to `text` (at most text_size bytes with the final 0; NULL, 0 to do without).
 * Answers KURBEL_OK, KURBEL_BAD_ARGUMENT, KURBEL_BAD_ENGINE, KURBEL_BAD_WHEEL, KURBEL_BAD_TIMER, KURBEL_BAD_SETTINGS. */
KURBEL_API int32_t kurbel_config_check(const kurbel_config* config, char* text, size_t text_size);

/* ---- detector --------------------------------------------------------------------------------------------------- */

/* Makes a detector on the heap. Answers as kurbel_config_check, or KURBEL_OUT_OF_MEMORY; on error *out is NULL. */
KURBEL_API int32_t kurbel_detector_create(const kurbel_config* config, kurbel_detector** out);

/* Frees a detector made by kurbel_detector_create. NULL is fine. Not for those made by kurbel_detector_init. */
KURBEL_API void kurbel_detector_destroy(kurbel_detector* detector);

/* Bytes that kurbel_detector_init needs, whatever the configuration: about 112 KiB as the library is built. Programs that use the C++
 * headers alone can do with less than 64 KiB (README, "From C++"). */
KURBEL_API size_t kurbel_detector_size(void);

/* Makes a detector inside the caller's memory: `memory` aligned to 16 bytes, `memory_size` at least kurbel_detector_size().
 * There is nothing to free afterwards. The block must not be moved while in use; see kurbel_detector_snapshot for copies.
 * Answers as kurbel_config_check; KURBEL_BAD_ARGUMENT where the memory is NULL, too small or not aligned. */
KURBEL_API int32_t kurbel_detector_init(void* memory, size_t memory_size, const kurbel_config* config,
                                        kurbel_detector** out);

/* Back to the state after creation, same configuration: everything learned and every waiting event is dropped. */
KURBEL_API int32_t kurbel_detector_reset(kurbel_detector* detector);

/* Takes one edge: `tick` as the timer gave it (wrapped counters are unwrapped here), `signal` KURBEL_CRANK or KURBEL_CAM, in
 * order of time. An edge whose time does not advance is dropped and counted in kurbel_sync.faults; after 32 in a row that agree with
 * each other the tick before them is taken to have been wrong: a loss is counted, and time goes on from theirs.
 * Answers KURBEL_OK; KURBEL_QUEUE_FULL: the edge was not consumed; KURBEL_BAD_ORDER after finish; KURBEL_BAD_ARGUMENT. */
KURBEL_API int32_t kurbel_detector_push_edge(kurbel_detector* detector, int64_t tick, int32_t signal);

/* Takes up to `count` edges: ticks[i] with signals[i]; `signals` NULL means that all are crank edges. `*consumed` (may not be
 * NULL) tells how many were taken. Stops with KURBEL_QUEUE_FULL where events must be taken first: do so and call again with
 * the rest. Gives the same bits as edge by edge. Answers as kurbel_detector_push_edge. */
KURBEL_API int32_t kurbel_detector_push_edges(kurbel_detector* detector, const int64_t* ticks, const uint8_t* signals,
                                              size_t count, size_t* consumed);

/* Takes one channel value that holds for the edges pushed after it, until the next of the same channel: push it before the first edge
 * that it holds for. `tick` (on the unwrapped clock) tells when it was measured and takes no part. NaN: unknown from here on; an
 * unknown fuel cut is none. Ranges: load 0 to 10, fuel cuts 0 to 1, coolant -80 to 250, vehicle speed 0 to 600.
 * Answers KURBEL_OK, KURBEL_BAD_ORDER after finish, KURBEL_BAD_ARGUMENT (out of range, an unknown channel). */
KURBEL_API int32_t kurbel_detector_push_channel(kurbel_detector* detector, int64_t tick, int32_t channel, double value);

/* Takes the oldest waiting event; event->struct_size must be set. Events come in order of time and are final.
 * Answers KURBEL_EVENT (written), KURBEL_OK (none waits), KURBEL_BAD_ARGUMENT. */
KURBEL_API int32_t kurbel_detector_next_event(kurbel_detector* detector, kurbel_event* event);

/* Ends the stream: releases the events that lag. Answers KURBEL_OK when all are queued; KURBEL_QUEUE_FULL: take events, then
 * call again. Afterwards only next_event, queries and reset are allowed. */
KURBEL_API int32_t kurbel_detector_finish(kurbel_detector* detector);

/* Engine cycles by which an event lags its firing at most: 10 (a two-stroke 11). So many at first and wherever the engine has to be
 * learned anew, for the first eight cycles are looked at together; else 2 (a two-stroke 3). Negative: KURBEL_BAD_ARGUMENT. */
KURBEL_API int32_t kurbel_detector_delay_cycles(const kurbel_detector* detector);

/* Fills the counters; sync->struct_size must be set. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT. */
KURBEL_API int32_t kurbel_detector_sync(const kurbel_detector* detector, kurbel_sync* sync);

/* What was wrong with the last call that failed on this handle, "parameter: why"; "" where none did. Valid until the next
 * call on the handle. Never NULL. */
KURBEL_API const char* kurbel_detector_last_error(const kurbel_detector* detector);

/* Bytes of a snapshot: header and whole state. */
KURBEL_API size_t kurbel_detector_snapshot_size(void);

/* Writes the whole state to `bytes`; a detector restored from it goes on bit for bit.
 * Answers KURBEL_OK, KURBEL_BAD_ARGUMENT (NULL, or size below kurbel_detector_snapshot_size()). */
KURBEL_API int32_t kurbel_detector_snapshot(const kurbel_detector* detector, void* bytes, size_t size);

/* Replaces the detector's state and configuration by a snapshot's. A snapshot belongs to one library version on one kind of
 * machine; another's, a shortened or a damaged one (checksum) answers KURBEL_BAD_INPUT and leaves the detector as it was.
 * The checksum guards against accidents, not against forgery: restore only what you wrote yourself. */
KURBEL_API int32_t kurbel_detector_restore(kurbel_detector* detector, const void* bytes, size_t size);

/* ---- waveforms: edges from a sensor's samples ------------------------------------------------------------------- */

/* Fills `settings` with defaults; rate_hz must be set by the caller. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT. */
KURBEL_API int32_t kurbel_waveform_settings_default(kurbel_waveform_settings* settings, size_t struct_size);

/* Makes an edge finder for one channel, crank or cam. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT, KURBEL_BAD_SETTINGS,
 * KURBEL_OUT_OF_MEMORY; on error *out is NULL and "parameter: why" goes to `text` (NULL, 0 to do without). */
KURBEL_API int32_t kurbel_waveform_create(const kurbel_waveform_settings* settings, kurbel_waveform** out, char* text,
                                          size_t text_size);

/* Frees. NULL is fine. */
KURBEL_API void kurbel_waveform_destroy(kurbel_waveform* waveform);

/* Takes up to `count` samples of `format` (KURBEL_SAMPLES_*); `*consumed` (may not be NULL) tells how many. Answers KURBEL_OK,
 * KURBEL_QUEUE_FULL (take edges, then push the rest), KURBEL_BAD_ORDER after finish, KURBEL_BAD_ARGUMENT. */
KURBEL_API int32_t kurbel_waveform_push(kurbel_waveform* waveform, const void* samples, int32_t format, size_t count,
                                        size_t* consumed);

/* Takes the oldest edge that waits; edge->struct_size must be set. Answers KURBEL_EVENT (written), KURBEL_OK (none waits). Edges
 * wait until kind of sensor and flank are known, or told. */
KURBEL_API int32_t kurbel_waveform_next_edge(kurbel_waveform* waveform, kurbel_waveform_edge* edge);

/* Ends the stream: gives out what is held back. Afterwards only next_edge, report and rewind are allowed. */
KURBEL_API int32_t kurbel_waveform_finish(kurbel_waveform* waveform);

/* Back to sample 0 with everything that was learned: who has the first seconds at hand pushes them, finishes, rewinds and pushes
 * all from the start, and loses no tooth to learning. */
KURBEL_API int32_t kurbel_waveform_rewind(kurbel_waveform* waveform);

/* What was found so far; report->struct_size must be set. */
KURBEL_API int32_t kurbel_waveform_get_report(const kurbel_waveform* waveform, kurbel_waveform_report* report);

/* Sets or clears KURBEL_FINDING_CHANNELS_SWAPPED in both reports of one capture: the cam passed more edges than a crank wheel would
 * leave it. struct_size of both must be set. */
KURBEL_API int32_t kurbel_waveform_compare(kurbel_waveform_report* crank, kurbel_waveform_report* cam);

/* A word for a finding, and what to look at, for bit 0, 1, ...; "?" and "" beyond the last. Never NULL, static. */
KURBEL_API const char* kurbel_waveform_finding_name(int32_t bit);
KURBEL_API const char* kurbel_waveform_finding_advice(int32_t bit);

/* ---- recordings on disk (these allocate and read files) --------------------------------------------------------- */

/* Reads the recording in `folder`. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT, KURBEL_OUT_OF_MEMORY, or KURBEL_BAD_INPUT with
 * "FILE:LINE: cause" in `text` (at most text_size bytes with the final 0; NULL, 0 to do without). On error *out is NULL. */
KURBEL_API int32_t kurbel_recording_open(const char* folder, kurbel_recording** out, char* text, size_t text_size);

/* Frees. NULL is fine. */
KURBEL_API void kurbel_recording_close(kurbel_recording* recording);

/* The recording's configuration with default settings; config->struct_size must be set (kurbel_config_default does). */
KURBEL_API int32_t kurbel_recording_config(const kurbel_recording* recording, kurbel_config* config);

/* Number of edges; 0 for NULL. */
KURBEL_API int64_t kurbel_recording_edges(const kurbel_recording* recording);

/* Pushes edges and channel values in order of time from where the last call stopped. Answers KURBEL_OK when all are pushed,
 * KURBEL_QUEUE_FULL when events must be taken before the next call, or what the push answered. */
KURBEL_API int32_t kurbel_recording_feed(kurbel_recording* recording, kurbel_detector* detector);

/* The next kurbel_recording_feed starts at the first edge again. */
KURBEL_API int32_t kurbel_recording_rewind(kurbel_recording* recording);

/* ---- learned wheels (these allocate and read or write files) ------------------------------------------------------ */

/* Learns from `recording` where its wheel's teeth really stand. Answers KURBEL_OK; KURBEL_BAD_ARGUMENT; KURBEL_BAD_INPUT where
 * the recording holds too little; KURBEL_OUT_OF_MEMORY. The cause goes to `text`; on error *out is NULL. */
KURBEL_API int32_t kurbel_wheel_learn(const kurbel_recording* recording, kurbel_wheel** out, char* text,
                                      size_t text_size);

/* Reads and writes a wheel file. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT, KURBEL_BAD_INPUT with the cause in `text`. */
KURBEL_API int32_t kurbel_wheel_open(const char* path, kurbel_wheel** out, char* text, size_t text_size);
KURBEL_API int32_t kurbel_wheel_save(const kurbel_wheel* wheel, const char* path, char* text, size_t text_size);

/* Frees. NULL is fine. */
KURBEL_API void kurbel_wheel_close(kurbel_wheel* wheel);

/* Teeth of the wheel; 0 for NULL. */
KURBEL_API int32_t kurbel_wheel_teeth(const kurbel_wheel* wheel);

/* How much farther on than told tooth `tooth` (from 0) stands, crank degrees, and the standard error of that; either pointer
 * may be NULL. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT. */
KURBEL_API int32_t kurbel_wheel_tooth(const kurbel_wheel* wheel, int32_t tooth, double* error_deg, double* se_deg);

/* Puts the errors into `config`, whose struct_size must be this version's. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT,
 * KURBEL_BAD_INPUT where config's wheel is made in another way. */
KURBEL_API int32_t kurbel_wheel_use(const kurbel_wheel* wheel, kurbel_config* config, char* text, size_t text_size);

/* Whether the wheel of `recording` is this one: *log_odds (natural) is above 6.9 where it is with odds of 1000 to 1, below -6.9
 * where it is another; *left_deg (may be NULL) is how far teeth still stand from it, root mean square.
 * Answers as kurbel_wheel_use. */
KURBEL_API int32_t kurbel_wheel_compare(const kurbel_wheel* wheel, const kurbel_recording* recording, double* log_odds,
                                        double* left_deg, char* text, size_t text_size);

/* ---- answers of studies (these allocate, and kurbel_answer_save writes files) ------------------------------------ */

/* Each study is one call that takes recordings and gives an answer. All of them answer KURBEL_OK; KURBEL_BAD_ARGUMENT where the
 * question cannot be asked; KURBEL_BAD_INPUT where a recording cannot serve; KURBEL_OUT_OF_MEMORY. A sentence that says what to
 * do goes to `text` (at most text_size bytes with the final 0; NULL, 0 to do without). On error *out is NULL. Recordings are
 * only looked at: how far they were fed does not matter and does not change. */

/* Parts of an answer. */
#define KURBEL_ANSWER_VERDICT 0  /* one of the study's words */
#define KURBEL_ANSWER_SENTENCE 1 /* one line for a person */
#define KURBEL_ANSWER_JSON 2     /* answer.json: question, verdict, sentence, evidence, cautions */
#define KURBEL_ANSWER_TABLE 3    /* for a terminal of 100 letters */
#define KURBEL_ANSWER_PICTURE 4  /* an SVG document; may be "" */

/* A part as UTF-8; "" for NULL or an unknown part. Valid until the answer is destroyed. Never NULL. */
KURBEL_API const char* kurbel_answer_text(const kurbel_answer* answer, int32_t part);

/* Writes answer.json and picture.svg into `folder`, whole or not at all; an earlier answer there is replaced.
 * Answers KURBEL_OK, KURBEL_BAD_ARGUMENT (NULL), KURBEL_BAD_INPUT with the cause in `text`. */
KURBEL_API int32_t kurbel_answer_save(const kurbel_answer* answer, const char* folder, char* text, size_t text_size);

/* Frees. NULL is fine. */
KURBEL_API void kurbel_answer_destroy(kurbel_answer* answer);

/* Under which conditions the engine misfires, and whether misfires come at random, in bursts, at a steady distance or all the
 * time. `recordings`: `count` (1 or more) recordings of one engine, judged with default settings. Verdicts: "none", "random",
 * "bursts", "periodic", "continuous", "undecided". Answers as above. */
KURBEL_API int32_t kurbel_study_pattern(const kurbel_recording* const* recordings, size_t count, kurbel_answer** out,
                                        char* text, size_t text_size);

/* Do all cylinders do the same work, and how much does each scatter? limit_percent: difference that counts, percent of a cylinder's
 * work (0.5 to 30; 2 is usual). Verdicts: "even", "uneven", "undecided". Answers as above. */
KURBEL_API int32_t kurbel_study_work(const kurbel_recording* recording, double limit_percent, kurbel_answer** out,
                                     char* text, size_t text_size);

/* Do all cylinders compress alike while the starter alone turns the engine? limit_percent: percent below the best cylinder that still
 * count as even (1 to 60; 10 is usual). Verdicts: "even", "uneven", "undecided". Answers as above. */
KURBEL_API int32_t kurbel_study_cranking(const kurbel_recording* recording, double limit_percent, kurbel_answer** out,
                                         char* text, size_t text_size);

/* Parts were moved between cylinders: did the misfire go with its part? `before` and `after`: recordings of one engine made before and
 * after; entry i says that the part of cylinder moved_from[i] went to moved_to[i]. A pair whose cylinders stand in no other pair is
 * an exchange, others must close rings. Verdicts: "followed", "stayed", "vanished", "other", "undecided". Answers as above. */
KURBEL_API int32_t kurbel_study_swap(const kurbel_recording* const* before, size_t before_count,
                                     const kurbel_recording* const* after, size_t after_count,
                                     const int32_t* moved_from, const int32_t* moved_to, size_t moves,
                                     kurbel_answer** out, char* text, size_t text_size);

/* Is the misfire of a repaired cylinder gone? limit_percent: rate from which the repair has failed, of the cylinder's firings (0.01 to
 * 50; 1 is usual); confidence_percent: 100 minus either error (50 to 99.99; 95 is usual). `before`: a recording with the fault, or NULL.
 * Verdicts: "gone", "remains", "undecided". Answers as above. */
KURBEL_API int32_t kurbel_study_verify(const kurbel_recording* recording, const kurbel_recording* before,
                                       int32_t cylinder, double limit_percent, double confidence_percent,
                                       kurbel_answer** out, char* text, size_t text_size);

/* ---- the page to hand over (this allocates, reads and writes files) ----------------------------------------------- */

/* One HTML page over folders of analyze and of answers, in that order, written to `path` whole or not at all; an earlier report
 * there is replaced, nothing else is. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT (NULL, no folder), KURBEL_BAD_INPUT with the cause in
 * `text`. */
KURBEL_API int32_t kurbel_report_write(const char* const* folders, size_t count, const char* path, char* text,
                                       size_t text_size);

/* ---- repair test, live (allocates when it is made, not after) ----------------------------------------------------- */

#define KURBEL_REPAIR_RUNNING 0
#define KURBEL_REPAIR_GONE 1
#define KURBEL_REPAIR_REMAINS 2   /* also where the misfire came back after "gone" */
#define KURBEL_REPAIR_UNDECIDED 3 /* the test ended at its longest without either */

/* How far the test is. */
typedef struct kurbel_repair_state {
    uint32_t struct_size;
    int32_t state;         /* KURBEL_REPAIR_* */
    int64_t firings;       /* judged firings of the cylinder so far */
    int64_t misfires;      /* among them */
    int64_t clean_needed;  /* further firings without a misfire until "gone"; 0 once decided */
    double seconds_needed; /* the same in seconds at the present pace; NaN while that is unknown */
    double decided_s;      /* time of the firing that decided; NaN while running */
    double rate_upper;     /* upper limit of the rate, holds at whatever moment one stops */
} kurbel_repair_state;

/* Makes a test of `cylinder` (1 to 16). limit_percent, confidence_percent: as kurbel_study_verify. false_alarm: chance that a healthy
 * firing is called a misfire (the detector's setting). dispersion: how misfires cluster, variance of counts over that of independent
 * losses; 1 = independent. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT (out of range), KURBEL_OUT_OF_MEMORY; on error *out is NULL. */
KURBEL_API int32_t kurbel_repair_test_create(int32_t cylinder, double limit_percent, double confidence_percent,
                                             double false_alarm, double dispersion, kurbel_repair_test** out);

/* Frees. NULL is fine. */
KURBEL_API void kurbel_repair_test_destroy(kurbel_repair_test* test);

/* Takes an event of kurbel_detector_next_event; those of other cylinders and unjudged ones pass by. event->struct_size must be set.
 * Answers KURBEL_OK, KURBEL_BAD_ARGUMENT. */
KURBEL_API int32_t kurbel_repair_test_push(kurbel_repair_test* test, const kurbel_event* event);

/* Fills the state; state->struct_size must be set. Answers KURBEL_OK, KURBEL_BAD_ARGUMENT. */
KURBEL_API int32_t kurbel_repair_test_state(const kurbel_repair_test* test, kurbel_repair_state* state);

/* ---- edges without a description (this allocates) ----------------------------------------------------------------- */

/* Finds out from edges alone which wheel, second line, engine and TDC they come from; a person has to confirm it.
 * `ticks`: `count` edges in order of time, as the counter gave them; `signals`: KURBEL_CRANK or KURBEL_CAM of each, NULL where all are
 * of the crank. `timer_bits` 0: ticks never wrap. `fuel_cut_s`: `cuts` pairs of seconds (from, to) without fuel on the unwrapped clock
 * (tick / timer_hz), NULL with 0. The answer's verdict is how sure the wheel is: "sure", "likely", "not sure"; its JSON holds all
 * findings with confidences and a draft of recording.toml, its table the report, its picture the tooth periods.
 * Answers as the studies do, and KURBEL_BAD_TIMER. */
KURBEL_API int32_t kurbel_inspect(const int64_t* ticks, const uint8_t* signals, size_t count, double timer_hz,
                                  int32_t timer_bits, const double* fuel_cut_s, size_t cuts, kurbel_answer** out,
                                  char* text, size_t text_size);

#ifdef __cplusplus
}
#endif

#endif
