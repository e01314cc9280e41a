#include "server/debrief/comparison/vehicle_changes.hpp"

#include <algorithm>
#include <set>
#include <utility>

#include "shared/json_reader.hpp"

namespace turnstone::debrief {

namespace {

class Differences {
  public:
    explicit Differences(std::size_t most) : most_(most) {}

    /// Null stands for what is not there. Depth is bounded by what parse_json_text lets in.
    void add(const std::string& pointer, const nlohmann::json& before, const nlohmann::json& after) {
        if (found_.size() >= most_ || before == after) return;
        if (before.is_object() && after.is_object()) {
            std::set<std::string> names;
            for (const nlohmann::json* side : {&before, &after})
                for (const auto& [name, value] : side->items()) names.insert(name);
            for (const std::string& name : names)
                add(pointer + "/" + escape_pointer(name), member(before, name), member(after, name));
        } else if (before.is_array() && after.is_array()) {
            for (std::size_t i = 0; i < std::max(before.size(), after.size()); ++i)
                add(pointer + "/" + std::to_string(i), i < before.size() ? before[i] : nlohmann::json(),
                    i < after.size() ? after[i] : nlohmann::json());
        } else {
            found_.push_back({pointer, before, after});
        }
    }
    [[nodiscard]] std::vector<VehicleChange> take() { return std::move(found_); }

  private:
    static nlohmann::json member(const nlohmann::json& object, const std::string& name) {
        const auto found = object.find(name);
        return found == object.end() ? nlohmann::json() : *found;
    }
    std::size_t most_;
    std::vector<VehicleChange> found_;
};

} // namespace

std::vector<VehicleChange> vehicle_changes(const nlohmann::json& before, const nlohmann::json& after,
                                           std::size_t most) {
    Differences differences(most);
    differences.add("", before, after);
    return differences.take();
}

} // namespace turnstone::debrief
