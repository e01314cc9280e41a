/// The setup of a recording, from the texts it holds.
#include <algorithm>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/read/reader_state.hpp"

namespace turnstone {

namespace {

/// A member of an object that is a text; empty when it is not there.
std::string text_member(const nlohmann::json& json, const char* name) {
    const auto found = json.is_object() ? json.find(name) : json.end();
    return found != json.end() && found->is_string() ? found->get<std::string>() : std::string();
}

/// Null when it is not JSON.
nlohmann::json json_of(const std::string& text) {
    std::vector<Problem> ignored;
    return parse_json_text(text, "", ignored).value_or(nlohmann::json());
}

std::vector<FolderFile> files_of(const std::vector<VehicleFileRow>& rows, std::int64_t vehicle) {
    std::vector<FolderFile> files;
    for (const VehicleFileRow& row : rows)
        if (row.vehicle == vehicle) files.push_back({.name = row.name, .text = row.text});
    return files;
}

std::string mass_csv_of(const std::vector<FolderFile>& files) {
    const auto found = std::ranges::find(files, "mass.csv", &FolderFile::name);
    return found == files.end() ? "" : found->text;
}

/// Procedures and readiness, of the files that this version can read, and the mass record.
void describe_files(std::vector<FolderFile> files, VehicleDescription& out) {
    out.mass_csv = mass_csv_of(files);
    for (FolderFile& file : files) {
        std::vector<Problem> problems;
        VehicleSetup alone;
        read_folder_file(std::move(file), "", alone, problems);
        if (!problems.empty()) continue;
        for (Procedure& procedure : alone.procedures) out.procedures.push_back(std::move(procedure));
        if (alone.readiness) out.readiness = std::move(alone.readiness);
    }
}

std::vector<Parachute> parachutes_of(const Vehicle& vehicle) {
    return vehicle.rocket ? vehicle.rocket->parachutes : std::vector<Parachute>();
}

VehicleDescription describe_texts(const VehicleRow& texts) {
    const nlohmann::json dictionary = json_of(texts.dictionary_json), vehicle = json_of(texts.vehicle_json);
    const std::string title = text_member(dictionary, "title");
    std::vector<Problem> problems;
    const Vehicle read = read_vehicle(vehicle, "", problems);
    return {.name = texts.name,
            .title = title.empty() ? texts.name : title,
            .dictionary_version = text_member(dictionary, "version"),
            .has_rocket = vehicle.is_object() && vehicle.contains("rocket"),
            .parachutes = problems.empty() ? parachutes_of(read) : std::vector<Parachute>(),
            .procedures = {},
            .readiness = {}};
}

std::vector<LinkSetup> read_links(Database& database) {
    std::vector<LinkSetup> links;
    RowSelect<LinkRow> rows(database, kLinkTable, "ORDER BY id");
    while (rows.step()) {
        LinkRow link = rows.row();
        links.push_back({.name = std::move(link.name),
                         .uri = std::move(link.uri),
                         .vehicle = static_cast<std::size_t>(link.vehicle)});
    }
    return links;
}

std::string names_of(Database& database) {
    std::string names;
    Statement vehicles(database, "SELECT name FROM vehicle ORDER BY id");
    while (vehicles.step()) names += (names.empty() ? "" : ", ") + vehicles.text(0);
    return names;
}

} // namespace

SetupDescription describe(const PipelineSetup& setup) {
    SetupDescription description{.vehicles = {}, .site = setup.site, .links = setup.links};
    for (const VehicleSetup& vehicle : setup.vehicles)
        description.vehicles.push_back({.name = vehicle.dictionary.vehicle,
                                        .title = vehicle.dictionary.title,
                                        .dictionary_version = vehicle.dictionary.version,
                                        .has_rocket = vehicle.vehicle.rocket.has_value(),
                                        .parachutes = parachutes_of(vehicle.vehicle),
                                        .procedures = vehicle.procedures,
                                        .readiness = vehicle.readiness,
                                        .mass_csv = mass_csv_of(vehicle.files)});
    return description;
}

SetupDescription RecordingReader::description() {
    SetupDescription description;
    try {
        const ReadTransaction transaction(state_->database);
        RowSelect<VehicleRow> vehicles(state_->database, kVehicleTable, "ORDER BY id");
        const std::vector<VehicleFileRow> files = vehicle_files(state_->database);
        while (vehicles.step()) {
            const VehicleRow texts = vehicles.row();
            description.vehicles.push_back(describe_texts(texts));
            describe_files(files_of(files, texts.id), description.vehicles.back());
        }
        std::vector<Problem> ignored;
        description.site = read_site(json_of(state_->database.text("SELECT site_json FROM site")), "", ignored);
        description.links = read_links(state_->database);
    } catch (const SqliteError& failure) {
        state_->note_damage(failure);
    }
    return description;
}

Result<PipelineSetup> RecordingReader::setup(std::vector<VehicleSetup> replacements) {
    const std::string file = state_->path.string();
    try {
        const ReadTransaction transaction(state_->database);
        PipelineSetup setup;
        std::vector<Problem> problems;
        const std::vector<VehicleFileRow> files = vehicle_files(state_->database);
        RowSelect<VehicleRow> vehicles(state_->database, kVehicleTable, "ORDER BY id");
        while (vehicles.step()) {
            const VehicleRow texts = vehicles.row();
            const std::string& name = texts.name;
            const auto replacement = std::ranges::find(
                replacements, name, [](const VehicleSetup& vehicle) { return vehicle.dictionary.vehicle; });
            if (replacement != replacements.end()) {
                setup.vehicles.push_back(std::move(*replacement));
                replacements.erase(replacement);
                continue;
            }
            auto vehicle = read_vehicle_texts(texts.dictionary_json, texts.vehicle_json, file + ": " + name, problems,
                                              files_of(files, texts.id));
            if (!vehicle) {
                return fail(file + ": this version cannot read the recorded files of vehicle " + name +
                            "; give a folder of this vehicle that it can read\n" + to_string(problems));
            }
            setup.vehicles.push_back(std::move(*vehicle));
        }
        if (!replacements.empty()) {
            return fail(file + ": a folder of vehicle " + replacements.front().dictionary.vehicle +
                        " is given, the recording has " + names_of(state_->database) +
                        "; give one folder for each vehicle to replace");
        }
        setup.site_json = state_->database.text("SELECT site_json FROM site");
        if (const auto json = parse_json_text(setup.site_json, file + ": site.json", problems))
            setup.site = read_site(*json, file + ": site.json", problems);
        if (!problems.empty()) return fail(to_string(problems));
        setup.links = read_links(state_->database);
        for (const LinkSetup& link : setup.links) {
            if (link.vehicle >= setup.vehicles.size()) {
                return fail(file + ": link " + link.name + " carries vehicle " + std::to_string(link.vehicle) +
                            ", which the recording does not have");
            }
        }
        return setup;
    } catch (const SqliteError& failure) {
        return fail(file + ": " + failure.what());
    }
}

} // namespace turnstone
