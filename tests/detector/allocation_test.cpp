// After construction the streaming detector never touches the heap: every malloc of the process is counted meanwhile.
#include <gtest/gtest.h>

#include <cstdlib>
#include <memory>

#include "kurbel/detector.hpp"
#include "support/inline4_config.hpp"
#include "support/inline4_edges.hpp"

#if defined(__SANITIZE_ADDRESS__)
#define KURBEL_TEST_ASAN 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer)
#define KURBEL_TEST_ASAN 1
#endif
#endif

#if defined(KURBEL_TEST_ASAN)
// Declared here, because g++ 12 ships this function of the sanitizers' public interface without its header.
extern "C" int __sanitizer_install_malloc_and_free_hooks(void (*on_malloc)(const volatile void*, std::size_t),
                                                         void (*on_free)(const volatile void*));
#endif

namespace {

bool counting = false;
long allocations = 0;

void count_one() noexcept {
    if (counting) ++allocations;
}

#if defined(KURBEL_TEST_ASAN)
// The sanitizer owns malloc, and tells who asks.
void on_malloc(const volatile void*, std::size_t) { count_one(); }
void on_free(const volatile void*) {}
const int kInstalled = __sanitizer_install_malloc_and_free_hooks(&on_malloc, &on_free);
#endif

}  // namespace

#if !defined(KURBEL_TEST_ASAN)
// glibc's allocator under its inner names; operator new ends in malloc too.
extern "C" {
void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* __libc_realloc(void*, std::size_t);
void* __libc_memalign(std::size_t, std::size_t);

void* malloc(std::size_t size) {
    count_one();
    return __libc_malloc(size);
}
void* calloc(std::size_t count, std::size_t size) {
    count_one();
    return __libc_calloc(count, size);
}
void* realloc(void* memory, std::size_t size) {
    count_one();
    return __libc_realloc(memory, size);
}
void* aligned_alloc(std::size_t alignment, std::size_t size) {
    count_one();
    return __libc_memalign(alignment, size);
}
}
#endif

namespace {

template <class Real>
class Allocation : public ::testing::Test {};
using Reals = ::testing::Types<double, float>;
TYPED_TEST_SUITE(Allocation, Reals);

TEST(AllocationCounter, Counts) {
    allocations = 0;
    counting = true;
    // Through volatile pointers, so that the compiler cannot leave the pairs out.
    void* volatile plain = std::malloc(10);
    std::free(plain);
    int* volatile object = new int(3);
    delete object;
    counting = false;
    EXPECT_EQ(allocations, 2);
}

TYPED_TEST(Allocation, NoneWhileStreaming) {
    using Detector = kurbel::BasicDetector<TypeParam>;
    for (const auto method : {kurbel::Method::work, kurbel::Method::segment_roughness}) {
        auto config = kurbel_test::inline4_config();
        config.settings.method = method;
        const auto edges = kurbel_test::inline4_edges();
        auto made = std::make_unique<kurbel::Result<Detector>>(Detector::create(config));
        ASSERT_TRUE(made->ok());
        Detector& detector = made->value;
        kurbel::Event event;
        long events = 0;
        allocations = 0;
        counting = true;
        for (int round = 0; round < 2; ++round) {
            static_cast<void>(detector.push_channel(edges.ticks[0], kurbel::Channel::load, 0.4));
            for (std::size_t i = 0; i < edges.ticks.size(); ++i) {
                while (!detector.push_edge(edges.ticks[i], static_cast<kurbel::Signal>(edges.signals[i])).ok())
                    while (detector.next_event(event)) ++events;
            }
            while (!detector.finish().ok())
                while (detector.next_event(event)) ++events;
            while (detector.next_event(event)) ++events;
            detector.reset();
        }
        counting = false;
        EXPECT_EQ(allocations, 0);
        EXPECT_GT(events, 1400) << "too little ran to show anything";
    }
}

}  // namespace
