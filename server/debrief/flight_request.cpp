#include "server/debrief/flight_request.hpp"

#include <nlohmann/json.hpp>

#include "shared/json_reader.hpp"

namespace turnstone::debrief {

Result<std::string> parse_flight_request(const nlohmann::json& json, const std::string& job) {
    std::vector<Problem> problems;
    JsonReader reader(json, job, problems);
    std::string flight = reader.text("flight");
    reader.finish();
    if (!problems.empty()) return fail(to_string(problems));
    return flight;
}

} // namespace turnstone::debrief
