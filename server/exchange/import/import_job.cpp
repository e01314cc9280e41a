#include "server/exchange/import/import_job.hpp"

#include <algorithm>
#include <fstream>
#include <span>
#include <string>
#include <system_error>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/debrief/flights/flight_id.hpp"
#include "server/exchange/import/first_look.hpp"
#include "server/exchange/import/import.hpp"
#include "server/exchange/import/uploads.hpp"
#include "server/record/read/catalogue.hpp"

namespace turnstone::exchange {

namespace {

using nlohmann::json;

constexpr std::size_t kLookBytes = 65536;

json columns_json(const FirstLook& look) {
    json columns = json::array();
    for (const LookedAtColumn& column : look.columns)
        columns.push_back({{"name", column.name}, {"first", column.first}, {"is_number", column.is_number}});
    return columns;
}

std::string separator_word(char separator) {
    return separator == '\t' ? "tab" : separator == ' ' ? "space" : std::string(1, separator);
}

/// A member of a request that is a text; empty when it is not there or something else.
std::string text_in(const json& request, const char* name) {
    const auto found = request.find(name);
    return found != request.end() && found->is_string() ? found->get<std::string>() : std::string();
}

} // namespace

Result<json> look_at_upload(const debrief::Recordings& recordings, const std::filesystem::path& file,
                            const std::string& flight_id) {
    const auto flight = debrief::parse_flight_id(flight_id);
    if (!flight) return tl::unexpected(flight.error());
    const auto path = recording_path(recordings.folder, flight->recording);
    if (!path) return tl::unexpected(path.error());
    auto reader = RecordingReader::open(*path);
    if (!reader) return tl::unexpected(reader.error());
    const auto setup = reader->setup();
    if (!setup) return tl::unexpected(setup.error());
    std::vector<char> beginning(kLookBytes);
    std::ifstream log(file, std::ios::binary);
    log.read(beginning.data(), static_cast<std::streamsize>(beginning.size()));
    beginning.resize(static_cast<std::size_t>(std::max<std::streamsize>(log.gcount(), 0)));
    const FirstLook look = look_at_log(std::as_bytes(std::span(beginning)));
    json out = {{"kind", look.is_columns ? "columns" : "packets"},
                {"separator", separator_word(look.separator)},
                {"columns", columns_json(look)},
                {"mapping", nullptr}};
    if (!look.is_columns) return out;
    for (const VehicleSetup& vehicle : setup->vehicles) {
        if (vehicle.dictionary.vehicle != flight->vehicle) continue;
        std::vector<std::string> names;
        for (const LookedAtColumn& column : look.columns) names.push_back(column.name);
        const auto kept = mapping_of(vehicle);
        LogMapping mapping = kept ? *kept : proposed_mapping(names, look.separator, vehicle.dictionary);
        if (!kept) mapping.decimal = look.decimal;
        for (LogColumn& column : mapping.columns) {
            const auto seen = std::ranges::find(look.columns, column.column, &LookedAtColumn::name);
            if (!kept && seen != look.columns.end()) column.is_text = !seen->is_number;
        }
        out["mapping"] = to_json(mapping);
    }
    return out;
}

Result<json> run_import_job(const debrief::Recordings& recordings, const json& request,
                            const debrief::Advance& advance) {
    const auto flight = debrief::parse_flight_id(text_in(request, "flight"));
    if (!flight) return tl::unexpected(flight.error());
    const auto path = recording_path(recordings.folder, flight->recording);
    if (!path) return tl::unexpected(path.error());
    const auto log = upload_file(recordings.folder, text_in(request, "upload"));
    if (!log) return tl::unexpected(log.error());
    const std::string name = text_in(request, "name");
    ImportRequest import{.recording = *path,
                         .vehicle = flight->vehicle,
                         .log = *log,
                         .log_name = name.empty() ? "log" : name,
                         .mapping = {},
                         .align = {},
                         .folder = recordings.folder};
    if (const auto mapping = request.find("mapping"); mapping != request.end() && !mapping->is_null()) {
        std::vector<Problem> problems;
        import.mapping = read_log_mapping(*mapping, "mapping", problems);
        if (!problems.empty()) return fail(to_string(problems));
    }
    if (const std::string by = text_in(request, "align"); !by.empty() && by != "auto") {
        const auto known = std::ranges::find(kWords<AlignBy>, by);
        if (known == kWords<AlignBy>.end())
            return fail("'align' is \"" + by + "\"; expected auto, onboard_time, acceleration or pressure");
        import.align = static_cast<AlignBy>(known - kWords<AlignBy>.begin());
    }
    std::error_code ignored;                           // it is hidden, and goes with the others
    const debrief::Advance in_use = [&](double done) { // and is not old while it is read
        std::filesystem::last_write_time(*log, std::filesystem::file_time_type::clock::now(), ignored);
        return advance(done);
    };
    auto made = import_log(import, in_use);
    if (made) std::filesystem::remove(*log, ignored);
    return made;
}

} // namespace turnstone::exchange
