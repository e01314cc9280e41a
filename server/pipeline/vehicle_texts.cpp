#include "server/pipeline/vehicle_texts.hpp"

#include <string_view>
#include <utility>

#include <nlohmann/json.hpp>

namespace turnstone {

void read_dictionary_text(std::string text, const std::string& file, VehicleSetup& setup,
                          std::vector<Problem>& problems) {
    if (const auto json = parse_json_text(text, file, problems))
        setup.dictionary = read_dictionary(*json, file, problems);
    setup.dictionary_json = std::move(text);
}

void read_vehicle_text(std::string text, const std::string& file, VehicleSetup& setup, std::vector<Problem>& problems) {
    if (const auto json = parse_json_text(text, file, problems)) setup.vehicle = read_vehicle(*json, file, problems);
    setup.vehicle_json = std::move(text);
}

void read_folder_file(FolderFile file, const std::string& where, VehicleSetup& setup, std::vector<Problem>& problems) {
    constexpr std::string_view kProcedures = "procedures/", kJson = ".json";
    const std::string path = where + "/" + file.name;
    const std::string_view name = file.name;
    if (name == "readiness.json") {
        if (const auto json = parse_json_text(file.text, path, problems))
            setup.readiness = read_readiness(*json, path, problems);
    } else if (name.starts_with(kProcedures) && name.ends_with(kJson)) {
        std::string id(name.substr(kProcedures.size(), name.size() - kProcedures.size() - kJson.size()));
        if (!is_procedure_id(id))
            problems.push_back(
                {path, "", "has a name that a procedure cannot have", "name it with a-z, 0-9 and -, at most 40"});
        else if (const auto json = parse_json_text(file.text, path, problems))
            setup.procedures.push_back(read_procedure(*json, std::move(id), path, problems));
    }
    setup.files.push_back(std::move(file));
}

std::optional<VehicleSetup> read_vehicle_texts(std::string dictionary_json, std::string vehicle_json,
                                               const std::string& where, std::vector<Problem>& problems,
                                               std::vector<FolderFile> files) {
    const std::size_t problems_before = problems.size();
    VehicleSetup setup;
    read_dictionary_text(std::move(dictionary_json), where + "/dictionary.json", setup, problems);
    read_vehicle_text(std::move(vehicle_json), where + "/vehicle.json", setup, problems);
    for (FolderFile& file : files) read_folder_file(std::move(file), where, setup, problems);
    return problems.size() == problems_before ? std::optional(std::move(setup)) : std::nullopt;
}

} // namespace turnstone
