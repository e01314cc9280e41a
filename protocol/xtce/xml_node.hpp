#pragma once
/// An XML document as it is built, before it is text. Inner part of export_xtce().
#include <list>
#include <string>
#include <utility>
#include <vector>

namespace turnstone {

struct XmlNode {
    std::string name;
    std::vector<std::pair<std::string, std::string>> attributes{};
    std::string text{}; ///< of a node without children
    std::list<XmlNode> children{};

    /// Stays where it is when others are added.
    XmlNode& add(std::string child) {
        children.push_back({.name = std::move(child)});
        return children.back();
    }
    XmlNode& add(std::string child, std::string content) {
        XmlNode& out = add(std::move(child));
        out.text = std::move(content);
        return out;
    }
    XmlNode& set(std::string attribute, std::string value) {
        attributes.emplace_back(std::move(attribute), std::move(value));
        return *this;
    }
};

/// Indented, in UTF-8. `space` is the namespace of all elements. Characters that XML 1.0 does not allow become U+FFFD.
[[nodiscard]] std::string to_xml(const XmlNode& root, const std::string& space);

} // namespace turnstone
