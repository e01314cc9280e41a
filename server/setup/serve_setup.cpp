#include "server/setup/serve_setup.hpp"

#include <algorithm>

#include <nlohmann/json.hpp>

namespace turnstone {

namespace {

struct Document {
    std::string text;
    nlohmann::json json;
};

std::optional<Document> read_document(const std::filesystem::path& path, std::vector<Problem>& problems) {
    auto text = read_text_file(path);
    if (!text) {
        problems.push_back({path.string(), "", text.error().message, "give a readable JSON file"});
        return std::nullopt;
    }
    auto json = parse_json_text(*text, path.string(), problems);
    if (!json) return std::nullopt;
    return Document{std::move(*text), std::move(*json)};
}

} // namespace

std::optional<ServeSetup> read_setup(const Config& config, std::vector<Problem>& problems) {
    const std::size_t problems_before = problems.size();
    auto setup = std::make_shared<PipelineSetup>();
    for (const std::filesystem::path& folder : config.vehicles) {
        auto vehicle = read_vehicle_folder(folder, problems);
        if (!vehicle) continue;
        const auto same = [&](const VehicleSetup& other) {
            return other.dictionary.vehicle == vehicle->dictionary.vehicle;
        };
        if (std::any_of(setup->vehicles.begin(), setup->vehicles.end(), same)) {
            problems.push_back({(folder / "dictionary.json").string(), "/vehicle",
                                "\"" + vehicle->dictionary.vehicle + "\" is given twice",
                                "give each vehicle folder once"});
        }
        setup->vehicles.push_back(std::move(*vehicle));
    }
    if (const auto site = read_document(config.site, problems)) {
        setup->site_json = site->text;
        setup->site = read_site(site->json, config.site.string(), problems);
    }
    ServeSetup out;
    for (const std::string& text : config.links)
        if (auto uri = parse_link_uri(text))
            out.uris.push_back(std::move(*uri));
        else
            problems.push_back({"links", "", uri.error().message, "see \"turnstone serve --help\""});
    if (const auto named = name_links(out.uris); !named)
        problems.push_back({"links", "", named.error().message, "see \"turnstone serve --help\""});
    if (problems.size() != problems_before) return std::nullopt;
    for (const LinkUri& uri : out.uris) {
        const auto carried = [&](const VehicleSetup& vehicle) { return vehicle.dictionary.vehicle == uri.vehicle; };
        const auto vehicle = uri.vehicle.empty()
                                 ? setup->vehicles.begin()
                                 : std::find_if(setup->vehicles.begin(), setup->vehicles.end(), carried);
        if (vehicle == setup->vehicles.end()) {
            problems.push_back({"links", "", "link \"" + uri.text + "\" carries the unknown vehicle " + uri.vehicle,
                                "vehicle= must name one of the vehicle folders given"});
            return std::nullopt;
        }
        setup->links.push_back({uri.name, uri.text, static_cast<std::size_t>(vehicle - setup->vehicles.begin())});
    }
    out.pipeline = std::move(setup);
    return out;
}

} // namespace turnstone
