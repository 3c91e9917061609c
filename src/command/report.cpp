// kurbel report: one page over results and answers.
#include "kurbel/study/report.hpp"

#include <iostream>
#include <memory>

#include "command/command.hpp"
#include "kurbel/study/answer.hpp"

namespace kurbel::command {

namespace {

struct ReportCall {
    ReportOptions options;
    std::string out;
};

void run_report(const ReportCall& call) {
    try {
        write_report(call.options, call.out);
    } catch (const WrongQuestion& error) {
        throw WrongCall(error.what());
    }
    std::cout << "Written to " << call.out << ": " << call.options.folders.size()
              << (call.options.folders.size() == 1 ? " part" : " parts")
              << " on one page, to be read in any browser.\n";
}

}  // namespace

void add_report(CLI::App& app) {
    CLI::App* command =
        app.add_subcommand("report", "Make one page of results and answers, to read, print and hand over");
    const auto call = std::make_shared<ReportCall>();
    command
        ->add_option("FOLDER", call->options.folders,
                     "Folders that analyze or a study wrote with --out, in the order to be read")
        ->required()
        ->type_name("FOLDER ...");
    command
        ->add_option("--out", call->out,
                     "Write the page there (HTML, everything inside). An earlier report is replaced, any\n"
                     "other file is refused")
        ->required()
        ->type_name("FILE");
    command->add_option("--title", call->options.title, "Headline (default: Misfire report)")->type_name("TEXT");
    command->add_option("--note", call->options.note, "A line below it: vehicle, order number, date")
        ->type_name("TEXT");
    command->footer("Example: kurbel report before swapped repaired --out report.html --note \"order 1207\"\n\n" +
                    std::string(kStatuses));
    command->callback([call] { run_report(*call); });
}

}  // namespace kurbel::command
