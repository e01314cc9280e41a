// XTCE documents: whatever they say, a dictionary that comes of one is read without a mistake.
#include <nlohmann/json.hpp>

#include "protocol/dictionary/dictionary.hpp"
#include "protocol/xtce/import.hpp"
#include "tests/fuzz/framings.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    std::vector<Problem> problems;
    const auto made = import_xtce({reinterpret_cast<const char*>(data), size}, "fuzz.xml", problems);
    fuzz::demand(made.has_value() == problems.empty());
    if (!made) return 0;
    (void)read_dictionary(nlohmann::json::parse(made->dictionary), "dictionary.json", problems);
    fuzz::demand(problems.empty() && made->packets > 0);
    return 0;
}
