// Answers lines "table a n b m" with Fisher's p and z, and lines "size good bad error" with the test of fixed size.
#include <cstdio>
#include <cstring>

#include "kurbel/study/sequential_plan.hpp"
#include "kurbel/study/two_sample.hpp"

int main() {
    char what[16];
    while (std::scanf("%15s", what) == 1) {
        if (std::strcmp(what, "table") == 0) {
            long long a = 0, n = 0, b = 0, m = 0;
            if (std::scanf("%lld %lld %lld %lld", &a, &n, &b, &m) != 4) return 1;
            std::printf("%.17g %.17g\n", kurbel::fisher_exact({a, n}, {b, m}),
                        kurbel::two_proportions_z({a, n}, {b, m}));
        } else {
            double good = 0.0, bad = 0.0, error = 0.0;
            if (std::scanf("%lf %lf %lf", &good, &bad, &error) != 3) return 1;
            std::printf("%lld\n", static_cast<long long>(kurbel::fixed_size(good, bad, error)));
        }
    }
    return 0;
}
