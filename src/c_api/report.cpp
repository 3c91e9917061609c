// kurbel.h: the report.
#include "kurbel/study/report.hpp"

#include "c_api/answer.hpp"

int32_t kurbel_report_write(const char* const* folders, size_t count, const char* path, char* text, size_t text_size) {
    constexpr const char* kNull = "path and folders: must not be NULL, nor hold NULL";
    if (path == nullptr || (folders == nullptr && count > 0)) return kurbel::c_api::refuse(kNull, text, text_size);
    for (size_t i = 0; i < count; ++i)
        if (folders[i] == nullptr) return kurbel::c_api::refuse(kNull, text, text_size);
    return kurbel::c_api::guarded(text, text_size, [&] {
        kurbel::ReportOptions options;
        options.folders.assign(folders, folders + count);
        kurbel::write_report(options, path);
    });
}
