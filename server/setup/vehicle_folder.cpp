#include "server/setup/vehicle_folder.hpp"

#include <nlohmann/json.hpp>

namespace turnstone {

namespace {

void read_dictionary_text(std::string text, const std::string& name, VehicleSetup& setup,
                          std::vector<Problem>& problems) {
    if (const auto json = parse_json_text(text, name, problems))
        setup.dictionary = read_dictionary(*json, name, problems);
    setup.dictionary_json = std::move(text);
}

void read_vehicle_text(std::string text, const std::string& name, VehicleSetup& setup, std::vector<Problem>& problems) {
    if (const auto json = parse_json_text(text, name, problems)) setup.vehicle = read_vehicle(*json, name, problems);
    setup.vehicle_json = std::move(text);
}

} // namespace

std::optional<VehicleSetup> read_vehicle_texts(std::string dictionary_json, std::string vehicle_json,
                                               const std::string& where, std::vector<Problem>& problems) {
    const std::size_t problems_before = problems.size();
    VehicleSetup setup;
    read_dictionary_text(std::move(dictionary_json), where + "/dictionary.json", setup, problems);
    read_vehicle_text(std::move(vehicle_json), where + "/vehicle.json", setup, problems);
    return problems.size() == problems_before ? std::optional(std::move(setup)) : std::nullopt;
}

std::optional<VehicleSetup> read_vehicle_folder(const std::filesystem::path& folder, std::vector<Problem>& problems) {
    const std::size_t problems_before = problems.size();
    VehicleSetup setup;
    for (const auto& [name, read] :
         {std::pair("dictionary.json", &read_dictionary_text), std::pair("vehicle.json", &read_vehicle_text)}) {
        const std::string path = (folder / name).string();
        if (auto text = read_text_file(path)) {
            read(std::move(*text), path, setup, problems);
        } else {
            problems.push_back(
                {path, "", text.error().message, "give a folder with a readable dictionary.json and vehicle.json"});
        }
    }
    if (problems.size() == problems_before && setup.vehicle.name != setup.dictionary.vehicle) {
        problems.push_back({(folder / "vehicle.json").string(), "/name", "is \"" + setup.vehicle.name + "\"",
                            "must be \"" + setup.dictionary.vehicle + "\", as the dictionary beside it says"});
    }
    return problems.size() == problems_before ? std::optional(std::move(setup)) : std::nullopt;
}

} // namespace turnstone
