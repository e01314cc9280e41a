#pragma once
/// Every case that the table of errors has: a line each.
#include <string>
#include <vector>

#include "tools/trials/trial_case.hpp"

namespace turnstone::trials {

enum class CaseGroup : unsigned char {
    scenarios, ///< of the demo vehicle
    rates,     ///< of all sensors, of a barometer and of a receiver alone
    kits,      ///< vehicles with less
    troubles,  ///< one thing worse than the error sets have it
    ground     ///< nothing flies
};

struct ListedCase {
    std::string name; ///< for files and options: small letters, digits, hyphens, plus signs
    std::string title;
    CaseGroup group;
    TrialCase trial_case; ///< its errors are the caller's to set
};

[[nodiscard]] const std::vector<ListedCase>& listed_cases();
/// Those whose name contains one of the words; all for no words. Throws std::runtime_error for a word in no name.
[[nodiscard]] std::vector<ListedCase> listed_cases(const std::vector<std::string>& words);

} // namespace turnstone::trials
