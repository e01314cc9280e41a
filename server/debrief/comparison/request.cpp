#include "server/debrief/comparison/request.hpp"

#include <nlohmann/json.hpp>

#include "shared/json_reader.hpp"

namespace turnstone::debrief {

Result<CompareRequest> parse_compare_request(const nlohmann::json& json) {
    std::vector<Problem> problems;
    JsonReader reader(json, "compare", problems);
    CompareRequest request;
    for (JsonReader& flight : reader.array("flights", 1, kComparedMax)) request.flights.push_back(flight.as_text());
    const auto& words = kWords<Alignment>;
    request.align = static_cast<Alignment>(reader.choice_or("align", {words.begin(), words.end()}, 0));
    request.prediction = reader.boolean_or("prediction", true);
    reader.finish();
    if (!problems.empty()) return fail(to_string(problems));
    return request;
}

} // namespace turnstone::debrief
