#include "server/report/report.hpp"

#include <algorithm>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "server/record/read/received_hash.hpp"
#include "server/report/chapters/happenings.hpp"
#include "server/report/chapters/links.hpp"
#include "server/report/chapters/mass.hpp"
#include "server/report/chapters/provenance.hpp"
#include "server/report/flight/afterwards.hpp"
#include "server/report/flight/flight.hpp"
#include "server/report/flight/outcome.hpp"
#include "server/report/flight/pictures.hpp"
#include "server/report/ground/charge.hpp"
#include "server/report/ground/earlier_tests.hpp"
#include "server/report/ground/evidence.hpp"
#include "server/report/ground/poll.hpp"
#include "server/report/ground/procedure_run.hpp"
#include "server/report/page/page.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone {

namespace {

using namespace report;

std::string title_of(const Recorded& recorded, std::size_t vehicle) {
    return vehicle < recorded.setup().vehicles.size() ? recorded.setup().vehicles[vehicle].title : "Station";
}

Markup flight_chapters(const Recorded& recorded, const Flight& flight, const std::filesystem::path& path, bool named) {
    const ReportClock clock(recorded, flight.liftoff_ns);
    const auto vehicle = static_cast<int>(flight.vehicle);
    Markup content;
    if (named) content += element("h2.part", fmt::format("{}, {}", title_of(recorded, flight.vehicle), flight.name));
    content += element("div.pair uneven", element("div", key_figures_chapter(recorded, flight)) +
                                              element("div", phases_chapter(recorded, flight))) +
               course_chapter(recorded, flight) + map_chapter(recorded, flight) +
               predictions_chapter(recorded, flight) + afterwards_chapters(recorded, flight, path);
    for (const Firing& firing : firings_in(recorded, flight.vehicle, flight.window))
        content += charge_chapter(recorded, firing, earlier_firings(recorded, firing, path));
    content += links_chapter(recorded, flight.vehicle, flight.window, clock) +
               alerts_chapter(recorded, vehicle, flight.window, clock) +
               log_chapter(recorded, vehicle, recorded.whole(), clock) +
               events_chapter(recorded, vehicle, flight.window, clock);
    return content;
}

Markup test_chapters(const Recorded& recorded, const ProcedureRun& run, const std::filesystem::path& path, bool said) {
    const ReportClock clock(recorded, std::nullopt);
    const auto vehicle = static_cast<int>(run.vehicle);
    const std::string title = fmt::format("{} {:.0f}", run.title, run.number);
    // The page's own sentence says the verdict of what it is about.
    Markup content = element("h2.part", said ? title : title + ": " + verdict_sentence(run));
    content += verdict_chapter(run) + evidence_chapter(recorded, run);
    for (const Firing& firing : firings_in(recorded, run.vehicle, run.window))
        content += charge_chapter(recorded, firing, earlier_firings(recorded, firing, path), run.procedure);
    content += steps_chapter(recorded, run) + links_chapter(recorded, run.vehicle, run.window, clock) +
               alerts_chapter(recorded, vehicle, run.window, clock) + log_chapter(recorded, vehicle, run.window, clock);
    return content;
}

/// What a recording without flight, test and poll still has to say.
Markup plain_chapters(const Recorded& recorded) {
    const ReportClock clock(recorded, std::nullopt);
    Markup content;
    for (std::size_t vehicle = 0; vehicle < recorded.setup().vehicles.size(); ++vehicle)
        content += links_chapter(recorded, vehicle, recorded.whole(), clock) +
                   alerts_chapter(recorded, static_cast<int>(vehicle), recorded.whole(), clock) +
                   events_chapter(recorded, static_cast<int>(vehicle), recorded.whole(), clock);
    return content + log_chapter(recorded, -1, recorded.whole(), clock);
}

struct Sheet {
    PageHead head;
    Markup body;
    std::vector<std::string> signed_by;
};

void head_of(const Recorded& recorded, std::string kind, std::size_t vehicle, std::int64_t t_ns, std::string sentence,
             PageHead& head) {
    if (!head.kind.empty()) return; // what came first names the page
    head = {std::move(kind), title_of(recorded, vehicle), recorded.setup().site.name,
            utc_date(recorded.utc_ns(t_ns)) + ", " + utc_time(recorded.utc_ns(t_ns)) + " UTC", std::move(sentence)};
}

/// Charges that were fired without a procedure and without a flight.
void add_firings_alone(const Recorded& recorded, const std::filesystem::path& path, Sheet& sheet) {
    for (std::size_t vehicle = 0; vehicle < recorded.setup().vehicles.size(); ++vehicle)
        for (const Firing& firing : firings_in(recorded, vehicle, recorded.whole())) {
            head_of(recorded, "Ground test report", vehicle, firing.row.t_ns(),
                    "Fired without a procedure: nothing is judged.", sheet.head);
            sheet.body += charge_chapter(recorded, firing, earlier_firings(recorded, firing, path));
            sheet.signed_by = {"Test conductor", "Range safety officer"};
        }
    if (!sheet.head.kind.empty()) sheet.body += plain_chapters(recorded);
}

Sheet sheet_of(const Recorded& recorded, const std::filesystem::path& path) {
    Sheet sheet;
    const auto flights = flights_in(recorded);
    for (const Flight& flight : flights) {
        // A name that nobody gave is the time that stands below anyway.
        head_of(recorded, "Flight report" + (flight.is_named ? ": " + flight.name : ""), flight.vehicle,
                flight.liftoff_ns, outcome_sentence(recorded, flight), sheet.head);
        sheet.body += flight_chapters(recorded, flight, path, flights.size() > 1);
    }
    for (const ProcedureRun& run : procedure_runs(recorded)) {
        const bool is_first = sheet.head.kind.empty();
        head_of(recorded, "Ground test report", run.vehicle, run.window.from_ns, verdict_sentence(run), sheet.head);
        sheet.body += test_chapters(recorded, run, path, is_first);
        sheet.signed_by = {"Test conductor", "Range safety officer"};
    }
    if (sheet.head.kind.empty()) add_firings_alone(recorded, path, sheet);
    if (!sheet.head.kind.empty())
        for (std::size_t vehicle = 0; vehicle < recorded.setup().vehicles.size(); ++vehicle)
            sheet.body += mass_chapter(recorded, vehicle);
    if (has_poll(recorded)) {
        head_of(recorded, "Poll report", 0, recorded.whole().from_ns, poll_sentence(recorded), sheet.head);
        sheet.body += poll_chapters(recorded);
        for (std::string& position : polled_positions(recorded)) // one of them may have signed for the test
            if (std::ranges::find(sheet.signed_by, position) == sheet.signed_by.end())
                sheet.signed_by.push_back(std::move(position));
    }
    if (sheet.head.kind.empty()) {
        head_of(recorded, "Recording report", 0, recorded.whole().from_ns,
                "No flight, no ground test and no poll in it.", sheet.head);
        sheet.body += plain_chapters(recorded);
    }
    return sheet;
}

} // namespace

Result<std::string> report_page(const std::filesystem::path& recording) {
    auto reader = RecordingReader::open(recording);
    if (!reader) return tl::unexpected(reader.error());
    const Recorded recorded(*reader);
    Sheet sheet = sheet_of(recorded, recording);
    if (!sheet.signed_by.empty()) sheet.body += kept_chapter("Signatures", signatures(sheet.signed_by));
    sheet.body += provenance_chapter(recorded, received_sha256(recording).value_or(""));
    return page_html(sheet.head, sheet.body);
}

} // namespace turnstone
