#include "server/report/chapters/provenance.hpp"

#include <fmt/format.h>

#include "server/report/page/page.hpp"
#include "server/report/page/table.hpp"
#include "server/report/text/figure.hpp"
#include "shared/time.hpp"

namespace turnstone::report {

namespace {

std::string ending_of(const RecordingInfo& info) {
    if (!info.closed) return "not closed: still recording, or left by a killed process";
    if (info.repaired) return "repaired after a kill: the last moments may be missing";
    return info.ended.empty() ? "closed" : info.ended;
}

/// What did not reach the file; empty: nothing is known to be missing.
std::string missing_from(const RecordingInfo& info, const std::string& damage) {
    std::string text;
    if (info.inputs_dropped > 0)
        text += fmt::format("{} inputs with {} not recorded. ", info.inputs_dropped,
                            size_text(static_cast<double>(info.bytes_dropped)));
    if (info.rows_dropped > 0) text += fmt::format("{} rows not stored. ", info.rows_dropped);
    if (!damage.empty()) text += "Damaged: " + damage;
    return text;
}

/// What this program can never do, and who decides.
Markup closing_words() {
    return element("p.note",
                   "Turnstone only receives: it cannot command, arm or fire anything. Its figures are advisory. The "
                   "range safety officer, local law and the site's safety code decide.");
}

} // namespace

Markup provenance_chapter(const Recorded& recorded, const std::string& sha256) {
    const RecordingInfo& info = recorded.info();
    LedgerTable table({{"Made from"}, {"", false, true}});
    const auto line = [&table](std::string_view name, const Markup& value) { table.row({Markup::text(name), value}); };
    const auto text_line = [&line](std::string_view name, const std::string& value) {
        if (!value.empty()) line(name, Markup::text(value));
    };
    text_line("Recording", info.id + (info.name.empty() ? "" : ", " + info.name));
    text_line("Notes", info.notes);
    text_line("Time", fmt::format("{} {} to {} UTC", utc_date(info.utc_start_ns), utc_time(info.utc_start_ns),
                                  utc_time(recorded.utc_ns(info.t_end_ns))));
    text_line("Ended", ending_of(info));
    text_line("Missing", missing_from(info, recorded.damage()));
    for (const VehicleDescription& vehicle : recorded.setup().vehicles)
        text_line("Dictionary",
                  vehicle.title + (vehicle.dictionary_version.empty() ? ", without a version"
                                                                      : ", version " + vehicle.dictionary_version));
    for (const LinkSetup& link : recorded.setup().links) text_line("Link", link.name + ": " + link.uri);
    text_line("Recorded by", "Turnstone " + info.version);
    text_line("Report by", "Turnstone " TURNSTONE_VERSION);
    line("SHA-256", sha256.empty() ? Markup("the bytes received could not be read")
                                   : element("span.hash", sha256) + note(" of the bytes received, in order"));
    return kept_chapter("Software and data", table.markup() + closing_words());
}

Markup signatures(const std::vector<std::string>& roles) {
    Markup lines;
    for (const std::string& role : roles) lines += element("p.signature", role + ", date");
    return element("div.signatures", lines);
}

} // namespace turnstone::report
