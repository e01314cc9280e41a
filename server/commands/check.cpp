// Finds every mistake in the files people write, before a flight does.
#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <ostream>
#include <set>
#include <string>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "protocol/nmea/nmea_dictionary.hpp"
#include "protocol/reading/frame_reader.hpp"
#include "server/analysis/mass/mass_record.hpp"
#include "server/commands/subcommands.hpp"
#include "server/exchange/import/log/log_mapping.hpp"
#include "server/pipeline/checklist/mistakes.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle/router.hpp"
#include "server/record/recordable.hpp"
#include "server/setup/sensor_remarks.hpp"
#include "server/setup/serve_setup.hpp"
#include "server/setup/settings.hpp"

namespace turnstone {

namespace {

namespace fs = std::filesystem;

/// Folders are searched this deep: enough for vehicle folders with a site file beside them, too little for a whole
/// disk.
constexpr int kSearchDepth = 4;

/// Mistakes written out; one slip can give hundreds of the same kind. A name may be any text, so that longer lines are
/// shortened.
constexpr std::size_t kMistakesShown = 50;
constexpr std::size_t kLineSizeMax = 2000;

enum class Kind { dictionary, vehicle, site, settings, procedure, readiness };

std::optional<Kind> kind_by_name(const fs::path& path) {
    const std::string name = path.filename().string();
    if (name == "dictionary.json") return Kind::dictionary;
    if (name == "vehicle.json") return Kind::vehicle;
    if (name == "site.json") return Kind::site;
    if (name == "turnstone.json") return Kind::settings;
    if (name == "readiness.json") return Kind::readiness;
    if (path.parent_path().filename() == "procedures") return Kind::procedure;
    return std::nullopt;
}

std::optional<Kind> kind_by_content(const nlohmann::json& json) {
    const auto has_any = [&json](std::initializer_list<const char*> keys) {
        return std::any_of(keys.begin(), keys.end(), [&json](const char* key) { return json.contains(key); });
    };
    if (has_any({"packets"})) return Kind::dictionary;
    if (has_any({"steps"})) return Kind::procedure;
    if (has_any({"groups", "positions"})) return Kind::readiness;
    if (has_any({"pad", "station", "boundary"})) return Kind::site;
    if (has_any({"rocket", "sensors", "engine_running_threshold_rpm"})) return Kind::vehicle;
    const auto is_setting = [&json](const Setting& setting) { return json.contains(setting.key); };
    if (std::ranges::any_of(settings_table(), is_setting)) return Kind::settings;
    return std::nullopt;
}

/// "below 7.2 V caution, 6.8 V warning"
std::string alert_text(const ChannelAlert& alert, const Field& field) {
    const auto number = [](double value) { return fmt::format("{}", value); };
    const std::string unit = field.unit == "1" ? "" : " " + field.unit;
    const std::string level(word(alert.urgency));
    switch (alert.cause) {
    case AlertCause::stuck: return "stuck for " + number(alert.for_s) + " s " + level;
    case AlertCause::stale: return "stale for " + number(alert.for_s) + " s " + level;
    case AlertCause::expected: {
        std::string values;
        for (const double value : alert.expected) {
            const auto known = std::ranges::find(field.enumeration, value,
                                                 [](const auto& word) { return static_cast<double>(word.first); });
            values +=
                (values.empty() ? "" : " or ") + (known != field.enumeration.end() ? known->second : number(value));
        }
        return "not " + values + " " + level;
    }
    case AlertCause::below:
    case AlertCause::above:
    case AlertCause::rate: break;
    }
    std::string limits;
    for (std::size_t u = 0; u < alert.limits.size(); ++u)
        if (alert.limits[u])
            limits += (limits.empty() ? "" : ", ") + number(*alert.limits[u]) + unit +
                      (alert.cause == AlertCause::rate ? "/s " : " ") + std::string(word(static_cast<Urgency>(u)));
    return (alert.cause == AlertCause::rate ? "changing by more than " : std::string(word(alert.cause)) + " ") + limits;
}

/// ", while engine.engine_speed is above 500"
std::string while_text(const ChannelAlert& alert) {
    const AlertWhile& only = alert.only_while;
    if (only.channel.empty()) return "";
    return fmt::format(", while {} is {} {}", only.channel, only.above ? "above" : "below",
                       only.above ? *only.above : only.below.value_or(0));
}

std::string count_text(std::size_t count, const char* thing) {
    return std::to_string(count) + " " + thing + (count == 1 ? "" : "s");
}

/// Checks files (known by name, else by content) and folders (every known file in them, vehicle folders as a whole).
/// Writes one line for each mistake, "file: /json/pointer: wrong; right", and one for each file without any; below a
/// vehicle's, indented, which estimates it gets and why not the others, and which channels raise alerts.
class Checker {
  public:
    explicit Checker(std::ostream& out) : out_(out) {}

    void path(const fs::path& path) {
        std::error_code error;
        if (!fs::is_directory(path, error)) {
            file(path, kind_by_name(path));
        } else if (!folder(path, kSearchDepth)) {
            report({{path.string(), "(folder)", "holds no dictionary.json, vehicle.json, site.json or turnstone.json",
                     "give a vehicle folder, or a file"}});
        }
    }

    /// Says how many mistakes were not written out, and returns how many there are.
    std::size_t finish() {
        if (mistakes_ > kMistakesShown) out_ << "and " << mistakes_ - kMistakesShown << " more\n";
        return mistakes_;
    }

  private:
    /// True when it held anything to check.
    bool folder(const fs::path& path, int depth) {
        bool found = false;
        if (fs::exists(path / "dictionary.json") || fs::exists(path / "vehicle.json")) {
            found = true;
            vehicle_folder(path);
        }
        std::error_code error;
        std::set<fs::path> entries; // sorted, so that the output is the same everywhere
        for (const fs::directory_entry& entry : fs::directory_iterator(path, error)) entries.insert(entry.path());
        for (const fs::path& entry : entries) {
            const auto kind = kind_by_name(entry);
            if (fs::is_directory(entry, error)) {
                found = (depth > 0 && folder(entry, depth - 1)) || found;
            } else if (kind == Kind::site || kind == Kind::settings) {
                found = true;
                file(entry, kind);
            }
        }
        return found;
    }

    void vehicle_folder(const fs::path& path) {
        std::vector<Problem> problems;
        // Without a dictionary it is one whose link brings sentences, or lines whose columns the link names.
        auto setup = read_vehicle_folder(
            path, problems, [](const std::string& vehicle) { return std::optional(nmea_dictionary_json(vehicle)); });
        const std::string dictionary = (path / "dictionary.json").string();
        const bool has_dictionary = fs::exists(dictionary);
        std::string about;
        if (setup) {
            about = (has_dictionary ? dictionary + ": ok; " + describe(setup->dictionary) + "\n" : "") +
                    (path / "vehicle.json").string() + ": ok; vehicle " + setup->vehicle.name +
                    (has_dictionary ? "" : ", without a dictionary") + "\n" + filled_by_name(setup->dictionary) +
                    outlook(*setup) + watched(setup->dictionary) + checklists(path.string(), *setup) +
                    weighings(path, setup->files, problems) + log_columns(path, *setup, problems);
            check_together(path.string(), std::move(*setup), problems);
        }
        if (report(problems)) out_ << about;
    }

    /// Of mass.csv, when there is one.
    static std::string weighings(const fs::path& folder, const std::vector<FolderFile>& files,
                                 std::vector<Problem>& problems) {
        const auto found = std::ranges::find(files, "mass.csv", &FolderFile::name);
        if (found == files.end()) return {};
        const std::string file = (folder / found->name).string();
        const auto read = analysis::read_mass_csv(found->text, file, problems);
        return read ? file + ": ok; " + count_text(read->size(), "weighing") + "\n" : "";
    }

    /// Of log.json, when there is one.
    static std::string log_columns(const fs::path& folder, const VehicleSetup& setup, std::vector<Problem>& problems) {
        const auto found = std::ranges::find(setup.files, exchange::kLogMappingFile, &FolderFile::name);
        if (found == setup.files.end()) return {};
        const std::string file = (folder / found->name).string();
        const auto json = parse_json_text(found->text, file, problems);
        const auto mapping = json ? exchange::read_log_mapping(*json, file, problems) : std::nullopt;
        if (!mapping) return {};
        const auto joined = exchange::with_log_packet(setup, *mapping);
        if (!joined) problems.push_back({file, "/columns", joined.error().message, "fix the column it names"});
        return joined ? file + ": ok; " + count_text(mapping->columns.size(), "column") + "\n" : "";
    }

    /// Which estimates this vehicle gets, and what is to be known of its sensors, one indented line each.
    static std::string outlook(const VehicleSetup& setup) {
        const Site anywhere{};
        const Router router(setup.dictionary, setup.vehicle, anywhere);
        std::string out;
        for (const auto& each : estimate::estimate_outlook(router.inputs(), setup.vehicle.rocket.has_value())) {
            out += "  " + std::string(each.title) + (each.given ? ": yes" : ": no");
            if (!each.why.empty()) out += (each.given ? ", but " : "; ") + each.why;
            out += "\n";
        }
        for (const std::string& remark : sensor_remarks(setup)) out += "  " + remark + "\n";
        return out;
    }

    /// What links with sentences or reports fill of this dictionary, one indented line each; empty: nothing.
    static std::string filled_by_name(const Dictionary& dictionary) {
        std::string out;
        const auto add = [&](const char* name, const Framing& framing) {
            std::vector<Problem> problems;
            check_framing(framing, dictionary, "", problems);
            if (problems.empty()) out += "  " + std::string(name) + ": " + describe_framing(framing, dictionary) + "\n";
        };
        add("framing=nmea", NmeaFraming{});
        add("framing=kiss&holds=aprs", RadioFraming{});
        return out;
    }

    /// Which channels raise alerts, and when, one indented line each.
    static std::string watched(const Dictionary& dictionary) {
        std::string out;
        for (const ChannelTable& table : dictionary.tables)
            for (const Channel& channel : table.channels) {
                if (channel.is_word || channel.element > 0 || channel.field->alerts.empty()) continue;
                std::string alerts;
                for (const ChannelAlert& alert : channel.field->alerts)
                    alerts += (alerts.empty() ? ": " : "; ") + alert_text(alert, *channel.field) + while_text(alert);
                out += "  watches " + table.name + "." + channel.field->name + alerts + "\n";
            }
        return out;
    }

    /// Its procedures and its readiness board, a line each.
    static std::string checklists(const std::string& folder, const VehicleSetup& setup) {
        std::string out;
        for (const Procedure& procedure : setup.procedures)
            out += folder + "/procedures/" + procedure.id + ".json: ok; " + describe(procedure) + "\n";
        if (setup.readiness) out += folder + "/readiness.json: ok; " + describe(*setup.readiness) + "\n";
        return out;
    }

    static std::string describe(const Procedure& procedure) {
        return "procedure \"" + procedure.title + "\", " + count_text(procedure.steps.size(), "step") + ", " +
               count_text(procedure.checks.size(), "check");
    }
    static std::string describe(const Readiness& readiness) {
        return "readiness board, " + count_text(checks_of(readiness).size(), "check") + ", " +
               count_text(readiness.positions.size(), "position");
    }

    /// What its files say of one another. Two names may differ in the dictionary and still meet in a recording.
    static void check_together(const std::string& folder, VehicleSetup vehicle, std::vector<Problem>& problems) {
        PipelineSetup setup;
        setup.vehicles.push_back(std::move(vehicle));
        setup.links.push_back({.name = "radio", .uri = "", .vehicle = 0});
        if (const std::string why = why_not_recordable(setup); !why.empty())
            problems.push_back({folder + "/dictionary.json", "/packets", "cannot be recorded: " + why,
                                "rename the packet, group or field that it speaks of"});
        find_checklist_mistakes(setup, Pipeline(setup, 0).schema(), 0, folder, problems);
    }

    void file(const fs::path& path, std::optional<Kind> kind) {
        std::vector<Problem> problems;
        // Only a settings file may hold comments; in any other file they are a mistake.
        const bool may_have_comments = kind == Kind::settings;
        auto json = parse_json_file(path, problems, may_have_comments ? JsonComments::allowed : JsonComments::refused);
        if (!json && !kind) {
            std::vector<Problem> ignored; // the first attempt's problems count unless this is a settings file
            const auto with_comments = parse_json_file(path, ignored, JsonComments::allowed);
            if (with_comments && kind_by_content(*with_comments) == Kind::settings) {
                problems.clear();
                json = with_comments;
            }
        }
        if (json && !kind) {
            kind = kind_by_content(*json);
            if (!kind) {
                problems.push_back(
                    {path.string(), "", "is not a dictionary, vehicle, site, settings, procedure or readiness file",
                     "name it dictionary.json, vehicle.json, site.json, turnstone.json or readiness.json, "
                     "or give it that file's members"});
            }
        }
        std::string about;
        if (json && kind) about = read(*kind, *json, path.string(), problems);
        if (report(problems)) out_ << path.string() << ": ok; " << about << "\n";
    }

    static std::string read(Kind kind, const nlohmann::json& json, const std::string& file,
                            std::vector<Problem>& problems) {
        switch (kind) {
        case Kind::dictionary: return describe(read_dictionary(json, file, problems));
        case Kind::vehicle: return "vehicle " + read_vehicle(json, file, problems).name;
        case Kind::site: return "site " + read_site(json, file, problems).name;
        case Kind::procedure:
            return describe(read_procedure(json, std::filesystem::path(file).stem().string(), file, problems));
        case Kind::readiness: return describe(read_readiness(json, file, problems));
        case Kind::settings: {
            Settings settings;
            read_settings(json, file, settings, problems);
            if (problems.empty()) complete_settings(settings, file, problems);
            return problems.empty() ? "settings" + links(settings) : "settings";
        }
        }
        return "";
    }

    /// What is read from each link whose vehicle can be read, one indented line each.
    static std::string links(const Settings& settings) {
        std::vector<Problem> ignored; // of vehicle folders: they are checked by themselves
        const std::vector<VehicleSetup> vehicles = read_vehicles(settings, ignored);
        std::string out;
        for (const LinkUri& uri : settings.links) {
            const auto vehicle = std::ranges::find_if(vehicles, [&](const VehicleSetup& known) {
                return uri.vehicle.empty() || known.dictionary.vehicle == uri.vehicle;
            });
            if (vehicle != vehicles.end())
                out += "\n  link " + uri.name + ": " + describe_framing(*framing_of(uri), vehicle->dictionary);
        }
        return out;
    }

    static std::string describe(const Dictionary& dictionary) {
        std::size_t channels = 0;
        for (const ChannelTable& table : dictionary.tables) channels += table.channels.size();
        return "dictionary of " + dictionary.vehicle + ", version " + dictionary.version + ", " +
               count_text(dictionary.packets.size(), "packet") + ", " + count_text(channels, "channel");
    }

    /// True when there was nothing to report.
    bool report(const std::vector<Problem>& problems) {
        for (const Problem& problem : problems) {
            std::string line = to_string(problem);
            if (!written_.insert(line).second) continue;
            if (++mistakes_ > kMistakesShown) continue;
            if (line.size() > kLineSizeMax) line = line.substr(0, kLineSizeMax) + " ...";
            out_ << line << "\n";
        }
        return problems.empty();
    }

    std::ostream& out_;
    std::set<std::string> written_; ///< each mistake is reported once
    std::size_t mistakes_ = 0;
};

int check_paths(const Arguments& given, std::ostream& out, std::ostream&) {
    Checker checker(out);
    for (const fs::path& path : paths_of(given, "PATH")) checker.path(path);
    return checker.finish() == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}

} // namespace

Subcommand check_subcommand() {
    return {.name = "check",
            .help = "Find the mistakes in vehicle folders, site files and settings files",
            .arguments = {{.name = "PATH", .help = "Files, or folders to search", .required = true, .repeats = true}},
            .run = check_paths};
}

} // namespace turnstone
