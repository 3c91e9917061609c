// Prints exact intervals for the lines "successes trials confidence" that it reads.
#include <cstdio>

#include "kurbel/study/binomial.hpp"

int main() {
    long long successes = 0;
    long long trials = 0;
    double confidence = 0.0;
    while (std::scanf("%lld %lld %lf", &successes, &trials, &confidence) == 3) {
        const kurbel::Interval interval = kurbel::exact_interval(successes, trials, confidence);
        std::printf("%.17g %.17g\n", interval.low, interval.high);
    }
    return 0;
}
